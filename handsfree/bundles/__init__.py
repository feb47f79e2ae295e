"""Approved procedures as signed bundles: what an author signs, how it is packed, and what a device keeps of it."""
