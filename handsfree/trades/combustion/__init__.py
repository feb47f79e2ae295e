"""The chemistry of fuels, air and flue gas, and the rate at which gas burns."""
