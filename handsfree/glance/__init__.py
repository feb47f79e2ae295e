"""The technician's big-type screen for when hearing fails: on the terminal, and on a phone in the closet."""
