"""Stand-ins for the speech engine's process, each with one fault seen in the field."""

import os
import time
from pathlib import Path

import numpy as np

from handsfree.speaking.voice import NO_ENGINE

RATE = 22050
GOOD = (8000 * np.sin(np.arange(RATE) / 10)).astype(np.int16).tobytes()


def none(pipe, settings, workshop):
    pipe.send(NO_ENGINE)


def first_time():
    memory = Path(os.environ["HANDSFREE_TEST_MEMORY"])
    first = not memory.exists()
    memory.touch()
    return first


def serve(pipe, bad):
    pipe.send(True)
    while True:
        pipe.recv()
        pipe.send((bad if bad is not None and first_time() else GOOD, RATE))


def cut_short(pipe, settings, workshop):
    serve(pipe, GOOD[:3000])


def mute(pipe, settings, workshop):
    serve(pipe, bytes(len(GOOD)))


def dies_once(pipe, settings, workshop):
    if first_time():
        os.abort()
    serve(pipe, None)


def hangs(pipe, settings, workshop):
    pipe.send(True)
    pipe.recv()
    time.sleep(60)
