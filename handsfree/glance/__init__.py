"""The technician's big-type screen for when the ears fail: on the terminal, and on a phone in the closet."""
