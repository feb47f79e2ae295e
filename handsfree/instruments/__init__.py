"""Readings of instruments as a source of their own: how a company's mapping tells what stands in their lines."""
