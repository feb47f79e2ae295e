"""Visits as immutable objects: one archive a visit, named by its contents."""
