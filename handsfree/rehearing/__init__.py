"""Hearing a recorded visit again: whether what was recorded stands in its sound, and whether that is speech."""
