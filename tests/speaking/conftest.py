"""A virtual sound card: what is played into its sink comes out of its microphone."""

import shutil
import signal
import subprocess
import time
from ctypes.util import find_library

import pytest

from handsfree import sound_card

NEEDED = "pulseaudio libasound2-plugins libportaudio2"


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    """Start a PulseAudio server with a null sink and point ALSA's default at it; yield a handle."""
    if shutil.which("pulseaudio") is None or find_library("portaudio") is None:
        pytest.skip(f"no virtual sound card: install {NEEDED}")
    with pytest.MonkeyPatch.context() as patch:
        server = Card(tmp_path_factory.mktemp("card"), patch)
        server.start()
        # The library's list of devices is as old as its start; a test's process cannot be replaced for that.
        library = sound_card.library()
        library._terminate()
        library._initialize()
        yield server
        server.stop()
    library._terminate()
    library._initialize()


class Card:
    """A PulseAudio server; `MODULES` are what it loads: here a room, heard by its monitor, and a headset."""

    MODULES = (
        "module-null-sink sink_name=closet rate=16000",
        "module-null-sink sink_name=headset rate=16000",
        "module-always-sink",
    )

    def __init__(self, home, patch):
        runtime = home / "run"
        runtime.mkdir(mode=0o700)
        self.socket = runtime / "native"
        asound = home / "asound.conf"
        ends = {"room": "closet", "microphone": "closet.monitor", "headset": "headset", "in_it": "headset.monitor"}
        named = [f'pcm.{name} {{ type pulse\n device "{end}" }}' for name, end in ends.items()]
        asound.write_text("\n".join(["pcm.!default { type pulse }", "ctl.!default { type pulse }", *named, ""]))
        patch.setenv("XDG_RUNTIME_DIR", str(runtime))
        patch.setenv("PULSE_RUNTIME_PATH", str(runtime / "pulse"))
        patch.setenv("PULSE_SERVER", f"unix:{self.socket}")
        patch.setenv("ALSA_CONFIG_PATH", f"/usr/share/alsa/alsa.conf:{asound}")

    def start(self):
        self.process = subprocess.Popen(
            [
                "pulseaudio",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "-n",
                "--log-target=null",
                f"--load=module-native-protocol-unix auth-anonymous=1 socket={self.socket}",
                *(f"--load={module}" for module in self.MODULES),
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
