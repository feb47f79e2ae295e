"""The phone as microphone and loudspeaker: real Chromium, a sound file as its microphone, the encrypted page."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "glance" / "support"), str(ROOT / "tests" / "session" / "support")]

from broken_line import BrokenLine  # noqa: E402
from phone_ears import Ears, at_16k, fake_microphone, lags, noise  # noqa: E402
from rehearsed import at  # noqa: E402
from told import Told  # noqa: E402
from trusting import telephone  # noqa: E402

from handsfree.commands.phone_visit import wav  # noqa: E402
from handsfree.events.devices import DeviceChange  # noqa: E402
from handsfree.glance.authority import Authority, own_names  # noqa: E402
from handsfree.glance.phone_sound import LINK_LOST_S, PhoneSound  # noqa: E402
from handsfree.glance.web import Page  # noqa: E402
from handsfree.ledger import read  # noqa: E402
from handsfree.speaking.sound import Sound  # noqa: E402
from handsfree.speaking.voice import Voice  # noqa: E402
from tests.programs import page_address  # noqa: E402

RATE = 48_000
BURNER_OFF = wav(Sound(noise(0.5, 16_000, seed=9), 16_000))


class Closet:
    """A visit that is told, its page with sound, and what arrives of the phone's."""

    def __init__(self, gate: str) -> None:
        self.told, self.sound, self._over = Told(at(gate)), PhoneSound(), threading.Event()
        self.changes: list[DeviceChange] = []
        self.page = Page("127.0.0.1:0", self.told.live, self.told.plan.catalogue, self.sound, BURNER_OFF)
        self.ears = Ears(self.sound)
        self._turns = threading.Thread(target=self._turn)
        self._turns.start()

    def _turn(self) -> None:
        while not self._over.wait(0.1):
            self.told.passed = 0  # its time stands still: only the link is looked at
            self.told.turn()
            if (change := self.told.live.change()) is not None:
                self.changes.append(change)

    def close(self) -> None:
        self._over.set()
        self._turns.join()
        self.ears.close()
        self.sound.close()


@contextlib.contextmanager
def closet(gate: str) -> Iterator[Closet]:
    made = Closet(gate)
    try:
        with made.page:
            assert made.page.served.wait(60)
            yield made
    finally:
        made.close()


@contextlib.contextmanager
def spoken_to(url: str, microphone: np.ndarray, folder: Path) -> Iterator[object]:
    """Open the page on a phone that hears these samples, and switch its sound on."""
    (folder / "microphone.wav").write_bytes(wav(Sound(microphone, RATE)))
    phone = telephone(folder / "home", *fake_microphone(folder / "microphone.wav"))
    try:
        phone.get(url)
        shown(phone, "sound", True)
        phone.find_element(By.ID, "sound").click()
        yield phone
    finally:
        phone.quit()


def shown(phone: object, name: str, wanted: bool, seconds: float = 60) -> None:
    WebDriverWait(phone, seconds, 0.1).until(lambda b: b.find_element(By.ID, name).is_displayed() is wanted)


def tones(rate: int, seconds: float, *beyond: float) -> np.ndarray:
    """Return sines of 300, 1,000, 3,000 and 6,000 Hz, each of the size 2,000, and of those beyond what is kept."""
    time_s = np.arange(round(seconds * rate)) / rate
    return sum(2_000 * np.sin(2 * np.pi * hertz * time_s) for hertz in (300, 1_000, 3_000, 6_000, *beyond))


RESAMPLED = """
const [samples, rate, done] = arguments;
(async () => {
  const audio = new OfflineAudioContext(1, samples.length, rate);
  await audio.audioWorklet.addModule("capture.js");
  const buffer = audio.createBuffer(1, samples.length, rate);
  buffer.copyToChannel(Float32Array.from(samples, (sample) => sample / 32768), 0);
  const source = audio.createBufferSource(), node = new AudioWorkletNode(audio, "capture");
  const line = new MessageChannel();
  const frames = [];
  line.port2.onmessage = ({ data }) => frames.push(data);
  node.port.postMessage({ line: line.port1 }, [line.port1]);
  await new Promise((later) => setTimeout(later, 300));
  source.buffer = buffer;
  source.connect(node).connect(audio.destination);
  source.start();
  await audio.startRendering();
  await new Promise((later) => setTimeout(later, 300));
  done(frames.map((one) => [...new Uint8Array(one)]));
})().catch((fault) => done(String(fault)));
"""


def arrived(folder: Path) -> list[int]:
    """Return where each quarter of a second that the phone heard lies in the file, less where it lies in the find.

    The page numbers what it hears by samples, so what is lost behind it is a gap; there is none.
    """
    sent = noise(40, RATE)
    with closet("cover-off") as visit, spoken_to(visit.page.url, sent, folder):
        visit.ears.until(500, seconds=60)
        found = lags(visit.ears.sound(), at_16k(sent, RATE))
        assert visit.ears.gaps() == []
        assert not any(block.overflow for block in visit.ears.blocks)
    assert len(found) > 35
    assert min(alike for _, alike in found) > 0.6  # a part of a sample late, and through the echo canceller
    return [lag for lag, _ in found]


@pytest.mark.real_time
@pytest.mark.slow("ten seconds of sound through a browser")
def test_what_the_phone_hears_arrives_whole(tmp_path: Path) -> None:
    """Ten seconds of noise that never repeats: each piece lies where it lay in the file, none missing or doubled.

    Chromium's microphone from a file and its silent loudspeaker run by a timer each. In 3 of 12 runs on a quiet
    machine, and oftener on a busy one, the one waited once for the other, by one of Chromium's buffers of 10 ms,
    before the page heard anything: then it is heard anew. Any other jump is ours.
    """
    for attempt in range(6):
        (folder := tmp_path / str(attempt)).mkdir()
        found = arrived(folder)
        if len(set(found)) == 1:
            return
        assert sorted(set(np.diff(found))) == [-160, 0]
    pytest.fail("a buffer was waited for in each of six runs")


@pytest.mark.slow("a prompt through a browser")
def test_what_the_tool_says_is_played_whole(tmp_path: Path) -> None:
    """The phone plays the samples that the loudspeaker would, and a cut ends it at once.

    Then the worklet alone, at the two rates of sound cards: sines come out as sines at 16 kHz, and of one above
    8 kHz nothing is left (the sampling theorem; the difference is at least 60 dB below them).
    """
    with closet("cover-off") as visit, spoken_to(visit.page.url, noise(40, RATE), tmp_path) as phone:
        visit.ears.until(10, seconds=60)
        phone.execute_script(
            "window.given = []; const make = audio.createBuffer.bind(audio);"
            "audio.createBuffer = (...all) => { const made = make(...all); window.given.push(made); return made }"
        )
        prompt = noise(1.5, 22_050, seed=2)
        begun = time.monotonic()
        visit.sound.play(Sound(prompt, 22_050))
        assert visit.sound.speaking
        assert visit.sound.wait(10)
        assert 1.4 < time.monotonic() - begun < 3.5
        played = phone.execute_script(
            "const [one] = window.given; return [one.sampleRate, ...one.getChannelData(0).map((s) => s * 32768)]"
        )
        assert played[0] == 22_050
        assert np.array_equal(np.array(played[1:]).astype(np.int16), prompt)

        visit.sound.play(Sound(noise(8, 22_050), 22_050))
        WebDriverWait(phone, 10, 0.02).until(lambda b: b.execute_script("return playing !== null"))
        begun = time.monotonic()
        visit.sound.cut()
        assert visit.sound.wait(3)
        assert phone.execute_script("return playing === null")

        for rate in (48_000, 44_100):
            frames = phone.execute_async_script(RESAMPLED, tones(rate, 0.5, 9_500).tolist(), rate)
            assert isinstance(frames, list), frames
            raw = [bytes(one) for one in frames]
            assert [int.from_bytes(one[:4], "little") for one in raw] == list(range(len(raw)))
            made = np.frombuffer(b"".join(one[4:] for one in raw), "<i2").astype(float)
            error = (made - tones(16_000, 0.5)[: len(made)])[400:-400]
            assert 20 * np.log10(np.sqrt(np.mean(error**2)) / 4_000) < -60, rate
        assert [e for e in phone.get_log("browser") if e["level"] == "SEVERE"] == []


@pytest.mark.real_time
@pytest.mark.slow("a line broken for a moment, a process killed, each with a browser: 30 seconds")
def test_after_a_broken_line_frames_go_on_and_a_gap_is_known(tmp_path: Path) -> None:
    """A second without the line, then the page's process killed: what is missing is told by the time."""
    sent = noise(60, RATE)
    with closet("cover-off") as visit:
        line = BrokenLine(urlsplit(visit.page.url).port)
        url = visit.page.url.replace(urlsplit(visit.page.url).netloc, f"127.0.0.1:{line.port}")
        with spoken_to(url, sent, tmp_path):
            visit.ears.until(200, seconds=60)
            line.cut()
            time.sleep(1.0)
            line.mend()
            before = len(visit.ears.blocks)
            visit.ears.until(before + 300, seconds=30)
            os.kill(visit.page.process_id, signal.SIGKILL)
            before = len(visit.ears.blocks)
            visit.ears.until(before + 300, seconds=60)
        line.close()
    starts = np.array([block.start_ms for block in visit.ears.blocks]) * 16
    assert (np.diff(starts) >= 320).all(), "no frame came twice"
    for block, gap in zip(visit.ears.blocks[1:], np.diff(starts), strict=True):
        assert block.overflow == (gap > 320)
    whole = np.zeros(starts[-1] - starts[0] + 320)
    for block, start in zip(visit.ears.blocks, starts - starts[0], strict=True):
        whole[start : start + 320] = block.samples
    found = [(lag, alike) for lag, alike in lags(whole, at_16k(sent, RATE)) if alike > 0.6]
    lag = [lag for lag, _ in found]
    assert max(lag) - min(lag) < 320, "the time of the source goes on over what was lost, to a frame"
    assert len(found) > 40


@pytest.mark.slow("ten seconds without sound at a firing gate, in real time")
def test_a_lost_link_at_a_firing_gate_lets_the_phone_say_burner_off_by_itself(tmp_path: Path, shots: Path) -> None:
    """The line is cut without a word. Ten seconds later the phone shows and says it; the visit knows the loss."""
    with closet("found-maximum") as visit:
        line = BrokenLine(urlsplit(visit.page.url).port)
        url = visit.page.url.replace(urlsplit(visit.page.url).netloc, f"127.0.0.1:{line.port}")
        with spoken_to(url, noise(40, RATE), tmp_path) as phone:
            visit.ears.until(100, seconds=60)
            assert not phone.find_element(By.ID, "off").is_displayed()
            phone.execute_script(
                "Object.defineProperty(document, 'hidden', { get: () => window.away, configurable: true });"
                "window.away = true; document.dispatchEvent(new Event('visibilitychange')); window.away = false;"
            )
            until(lambda: "page hidden" in visit.told.live.picture().sound.text, 5)
            phone.execute_script(
                "capture.port.postMessage({ muted: true })"
            )  # as when a call takes the microphone
            count = len(visit.ears.waits)
            until(lambda: len(visit.ears.waits) > count + 2, 10)
            before = len(visit.ears.blocks)  # first: the next may come before the answer to the script
            phone.execute_script("capture.port.postMessage({ muted: false })")
            visit.ears.until(before + 20)
            assert visit.ears.blocks[before].overflow
            line.cut()
            cut_at = time.monotonic()
            shown(phone, "off", True, 30)
            assert 9 < time.monotonic() - cut_at < 14
            assert phone.find_element(By.ID, "off-order").text == "BURNER OFF"
            assert phone.execute_script("return [alarm !== null, alarm.buffer.duration, audio.state]") == [
                True,
                pytest.approx(0.5, abs=0.01),
                "running",
            ]
            fits = (
                "const order = document.getElementById('off-order'); return order.scrollWidth <= order.clientWidth"
            )
            assert phone.execute_script(fits)
            phone.save_screenshot(str(shots / "glance-link-lost.png"))
            until(lambda: visit.changes == [DeviceChange("link", lost=True)], 5)
            line.mend()
            shown(phone, "off", False, 30)
            assert phone.execute_script("return alarm === null")
            until(lambda: visit.changes[1:] == [DeviceChange("link", lost=False)], 10)
        line.close()


@pytest.mark.slow("ten seconds of a page that stands still, in real time")
def test_a_page_that_is_frozen_at_a_firing_gate_is_a_lost_link_until_it_wakes(tmp_path: Path) -> None:
    """Chromium stops all of it, as a telephone may do to a locked one: it cannot speak, so the visit must know."""
    with closet("found-maximum") as visit, spoken_to(visit.page.url, noise(60, RATE), tmp_path) as phone:
        visit.ears.until(100, seconds=60)
        phone.execute_cdp_cmd("Page.setWebLifecycleState", {"state": "frozen"})
        before = len(visit.ears.blocks)
        until(lambda: visit.changes == [DeviceChange("link", lost=True)], LINK_LOST_S + 8)
        assert len(visit.ears.blocks) - before < 25, "nothing of half a second came while it stood still"
        phone.execute_cdp_cmd("Page.setWebLifecycleState", {"state": "active"})
        until(lambda: visit.changes[1:] == [DeviceChange("link", lost=False)], 20)
        visit.ears.until(before + 100, seconds=30)
        shown(phone, "off", False, 10)


@pytest.mark.slow("a whole visit with the real recogniser through a browser")
def test_a_visit_hears_through_the_phone_and_stops_when_its_sound_is_lost_at_a_firing_gate(tmp_path: Path) -> None:
    """A voice at the phone passes a gate; then the phone is gone at a firing one: recorded, stopped."""
    voice = Voice()
    spoken = voice.render("cover removed")
    voice.close()
    if spoken is None:
        pytest.fail("the test's voice is missing: espeak-ng")
    once = np.concatenate([np.zeros(6 * RATE, np.int16), spoken.at_rate(RATE).samples])
    folder, job = tmp_path / "visit", ROOT / "handsfree" / "demo" / "jobsheet.yaml"
    Authority.of_device(own_names("127.0.0.1"))
    command = [
        sys.executable,
        "-m",
        "handsfree.commands.app",
        "visit",
        str(Path(__file__).with_name("burner-on.yaml")),
    ]
    options = [
        "--jobsheet",
        str(job),
        "--sound",
        "phone",
        "--no-third-opinion",
        "--plain",
        "--unproven",
        "--glance-web",
        "127.0.0.1:0",
        "--out",
        str(folder),
    ]
    with (
        subprocess.Popen([*command, *options], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                         stderr=subprocess.PIPE, text=True) as process,
        contextlib.ExitStack() as ended,
    ):  # fmt: skip
        ended.callback(process.kill)
        assert process.stderr is not None
        address = page_address(process)
        assert address.startswith("https://127.0.0.1:")
        threading.Thread(target=process.stderr.read, daemon=True).start()
        with spoken_to(address, np.concatenate([once] * 12), tmp_path) as phone:
            until(lambda: gate(folder) == "held", 90)
            WebDriverWait(phone, 20, 0.1).until(lambda b: b.execute_script("return last_picture.firing"))
        gone_at = time.monotonic()
        until(lambda: "stopped" in kinds(folder), 40)
        assert time.monotonic() - gone_at > LINK_LOST_S - 1
    events = [(entry.kind, entry.event) for entry in read(folder)]
    heard = [event for kind, event in events if kind == "heard"]
    assert any("removed" in str(event) for event in heard)
    assert not [kind for kind, _ in events if kind == "typed"]
    lost = [event["device"] for kind, event in events if kind == "device-lost"]
    assert lost[-2:] == ["microphone", "link"]
    (stopped,) = [event for kind, event in events if kind == "stopped"]
    assert stopped["why"] == "link-lost"
    clips = [event["sound"] for event in heard if event.get("sound")]
    assert clips
    assert all((folder / "sound" / f"{clip}.flac").exists() for clip in clips)


def kinds(folder: Path) -> list[str]:
    return [entry.kind for entry in entries(folder)]


def gate(folder: Path) -> str:
    return next((e.event["gate"] for e in reversed(entries(folder)) if e.kind == "gate-entered"), "")


def entries(folder: Path) -> list[object]:
    """Return what is recorded so far; a line that is being written is left for the next look."""
    try:
        return list(read(folder))
    except Exception:  # noqa: BLE001 - it is not there yet, or not whole
        return []


def until(condition: object, seconds: float) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.2)
