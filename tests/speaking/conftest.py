"""A virtual sound card: what is played into its sink comes out of its microphone."""

import os
import shutil
import signal
import subprocess
import time

import pytest

from handsfree import sound_card
from handsfree.problem import Problem

NEEDED = "pulseaudio libasound2-plugins libportaudio2"


@pytest.fixture(scope="session")
def card(tmp_path_factory):
    """Start a PulseAudio server with a null sink and point ALSA's default at it; yield a handle."""
    if shutil.which("pulseaudio") is None:
        pytest.skip(f"no virtual sound card: install {NEEDED}")
    try:
        sound_card.library()
    except Problem as problem:
        pytest.skip(f"no virtual sound card: {problem}")
    home = tmp_path_factory.mktemp("card")
    server = Card(home)
    server.start()
    yield server
    server.stop()


class Card:
    def __init__(self, home):
        self.home = home
        runtime = home / "run"
        runtime.mkdir(mode=0o700)
        asound = home / "asound.conf"
        asound.write_text("pcm.!default { type pulse }\nctl.!default { type pulse }\n")
        os.environ["XDG_RUNTIME_DIR"] = str(runtime)
        os.environ["PULSE_RUNTIME_PATH"] = str(runtime / "pulse")
        os.environ["PULSE_SERVER"] = f"unix:{runtime}/native"
        os.environ["ALSA_CONFIG_PATH"] = f"/usr/share/alsa/alsa.conf:{asound}"
        self.socket = runtime / "native"

    def start(self):
        self.process = subprocess.Popen(
            [
                "pulseaudio",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "-n",
                "--log-target=null",
                f"--load=module-native-protocol-unix auth-anonymous=1 socket={self.socket}",
                "--load=module-null-sink sink_name=closet rate=16000",
                "--load=module-always-sink",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until = time.monotonic() + 10
        while not self.socket.exists():
            if time.monotonic() > until or self.process.poll() is not None:
                pytest.skip("the virtual sound card does not start here")
            time.sleep(0.05)

    def stop(self):
        """Be the plug that is pulled."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.socket.unlink(missing_ok=True)
