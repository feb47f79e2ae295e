"""The names of the keys, as screen and phone send them."""

ENTER, SPACE, LEFT, RIGHT, UP, DOWN, STOP_BUTTON = "enter", "space", "left", "right", "up", "down", "stop"
WORD, OFFER, HAZARD = "word ", "offer ", "hazard "
"""Before a character of typed words; the number of an offer that was touched; the name of a hazard."""
