"""The names of the keys, as screen and phone send them."""

ENTER, SPACE, LEFT, RIGHT, UP, DOWN, STOP_BUTTON = "enter", "space", "left", "right", "up", "down", "stop"
WORD, OFFER, HAZARD = "word ", "offer ", "hazard "
"""Before a character of typed words; before the number of an offer that was touched; before the name of a hazard."""
