"""Work that takes too much, to be done in a process with limits."""

import os
import threading


def hang(_):
    """Never come back."""
    threading.Event().wait()


def hog(_):
    """Take all the memory there is."""
    return bytearray(64 << 30)


def die(_):
    """End the process at once."""
    os._exit(7)


def double(number):
    """Work well."""
    return number * 2


def hostile(number):
    """Hang, hog or die, as told, or work well."""
    return {1: hang, 2: hog, 3: die}.get(number, double)(number)
