import itertools
import queue
import sys
import time
import wave
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from handsfree import sound_card
from handsfree.hearing import microphone
from handsfree.hearing.microphone import Microphone, MicrophoneLost
from handsfree.hearing.resampling import RATE, Resampler
from handsfree.hearing.sources import BLOCK, Recording, SoundFile, SoundFolder, sound_files
from handsfree.problem import Problem


def tone(rate, seconds=1.37, hertz=700.0, level=0.5):
    return level * np.sin(2 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000])
@pytest.mark.parametrize("channels", [1, 2])
def test_a_tone_of_any_rate_arrives_as_the_same_tone_at_16_khz(tmp_path, rate, channels):
    """Compared with the sine's own formula; the filter may differ by 0.2 %."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, np.stack([tone(rate)] * channels, axis=1), rate, subtype="FLOAT")
    heard = SoundFile(path).samples()
    expected = tone(RATE) * 32768
    assert len(heard) == pytest.approx(len(expected), abs=1)
    middle = slice(200, len(expected) - 200)
    assert np.abs(heard[middle] - expected[middle]).max() < 0.002 * 16384


@pytest.mark.parametrize(
    ("ending", "subtype"),
    [("wav", "PCM_16"), ("wav", "PCM_24"), ("wav", "ULAW"), ("flac", "PCM_16"), ("ogg", "VORBIS"), ("mp3", None)],
)
def test_common_formats_are_read(tmp_path, ending, subtype):
    path = tmp_path / f"tone.{ending}"
    soundfile.write(path, tone(44100), 44100, subtype=subtype)
    heard = SoundFile(path).samples().astype(float)
    spectrum = np.abs(np.fft.rfft(heard[4000:12000]))
    assert np.argmax(spectrum) * 2 == 700
    assert np.sqrt(np.mean(heard[4000:12000] ** 2)) == pytest.approx(0.5 / np.sqrt(2) * 32768, rel=0.05)


def test_pieces_of_any_size_join_without_a_trace():
    """Resampling 10 ms at a time, as a microphone gives it, equals resampling at once."""
    sound = np.random.default_rng(3).normal(0, 0.1, 44100).astype(np.float32)
    at_once, bit_by_bit = Resampler(44100), Resampler(44100)
    whole = np.concatenate([at_once.feed(sound), at_once.rest()])
    parts = [bit_by_bit.feed(sound[i : i + 441]) for i in range(0, len(sound), 441)]
    assert np.abs(np.concatenate([*parts, bit_by_bit.rest()]).astype(int) - whole).max() <= 1


def test_blocks_are_20_ms_each_with_their_time_and_the_last_is_filled_up():
    samples = np.arange(BLOCK * 2 + 5, dtype=np.int16)
    blocks = list(Recording(samples).blocks())
    assert [block.start_ms for block in blocks] == [0, 20, 40]
    assert {len(block.samples) for block in blocks} == {BLOCK}
    assert not blocks[2].samples[5:].any()
    assert not any(block.overflow for block in blocks)


def test_a_recording_can_be_taken_up_from_the_middle():
    samples = np.arange(BLOCK * 3, dtype=np.int16)
    blocks = list(Recording(samples).blocks(from_ms=40))
    assert [block.start_ms for block in blocks] == [40]
    assert blocks[0].samples[0] == 2 * BLOCK


@pytest.mark.real_time
def test_paced_sound_passes_in_real_time_also_when_the_listener_is_late_once():
    begun = time.monotonic()
    arrived = []
    for number, block in enumerate(Recording(np.zeros(BLOCK * 15, np.int16), paced=True).blocks()):
        arrived.append(block.arrived - begun)
        if number == 3:
            time.sleep(0.1)
    assert arrived == pytest.approx([0.02 * n for n in range(1, 16)], abs=0.005)
    assert time.monotonic() - begun == pytest.approx(0.3, abs=0.1)


def test_a_folder_is_heard_in_the_order_of_its_names_with_pauses(tmp_path):
    for name, level in (("b", 2000), ("a", 1000), ("c", 3000)):
        soundfile.write(tmp_path / f"{name}.wav", np.full(BLOCK, level, np.int16), RATE)
    (tmp_path / "notes.txt").write_text("no sound")
    heard = np.concatenate([block.samples for block in SoundFolder(tmp_path, pause_ms=20).blocks()])
    assert heard[[0, 2 * BLOCK, 4 * BLOCK]].tolist() == [1000, 2000, 3000]
    assert not heard[BLOCK : 2 * BLOCK].any()


def bad_files(folder):
    text = folder / "text.wav"
    text.write_text("This is no sound at all, although its name says so.")
    empty = folder / "empty.wav"
    empty.touch()
    soundless = folder / "soundless.wav"
    soundfile.write(soundless, np.zeros(0, np.int16), RATE)
    unheard = folder / "unheard.wav"
    soundfile.write(unheard, np.array([0.0, np.nan, 0.0]), RATE, subtype="FLOAT")
    slow = folder / "slow.wav"
    soundfile.write(slow, np.zeros(100, np.int16), 1000)
    raw = folder / "samples.raw"
    raw.write_bytes(bytes(1000))
    endless = folder / "endless.wav"
    with wave.open(str(endless), "wb") as file:
        file.setparams((1, 1, 8000, 0, "NONE", "not compressed"))
    size = 13 * 3600 * 8000
    header = bytearray(endless.read_bytes())
    header[4:8], header[40:44] = (36 + size).to_bytes(4, "little"), size.to_bytes(4, "little")
    endless.write_bytes(header)
    with endless.open("r+b") as file:
        file.truncate(44 + size)  # a file with a hole: no disk is used
    return {
        text: "is not a sound file that can be read",
        empty: "the sound file is empty",
        soundless: "the sound file is empty",
        unheard: "holds values that are no sound",
        slow: "the sound has 1000 samples a second",
        raw: "is not a sound file that can be read",
        endless: "the sound claims to last 13 hours",
        folder / "missing.wav": "there is no such sound file",
        folder: "there is no such sound file",
    }


def test_every_bad_file_is_one_sentence_that_names_it(tmp_path):
    for path, sentence in bad_files(tmp_path).items():
        with pytest.raises(Problem, match=sentence) as told:
            list(SoundFile(path).blocks())
        assert told.value.where == str(path)


def test_a_folder_without_sound_or_no_folder_is_a_problem(tmp_path):
    with pytest.raises(Problem, match="the folder has no sound files"):
        sound_files(tmp_path)
    with pytest.raises(Problem, match="there is no such folder"):
        sound_files(tmp_path / "missing")


def test_a_missing_portaudio_names_the_command_that_installs_it(tmp_path, monkeypatch):
    """The library raises OSError at import then, as stood in for here by a module that does the same."""
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(Problem, match="sudo apt install libportaudio2"):
        next(Microphone().blocks())


DEVICES = (
    sound_card.SoundDevice("Headset USB", 3, 48000),
    sound_card.SoundDevice("Headset USB Mono", 4, 48000),
    sound_card.SoundDevice("Built-in", 0, 44100),
)


def test_a_device_is_chosen_by_its_whole_name_or_a_part_that_only_one_has():
    assert sound_card.chosen("headset usb", DEVICES, "input").number == 3
    assert sound_card.chosen("built", DEVICES, "input").number == 0
    with pytest.raises(Problem, match=r'several devices are called "headset".*"Headset USB Mono"'):
        sound_card.chosen("headset", DEVICES, "input")
    with pytest.raises(Problem, match=r'no device is called "lapel".*choose one microphone of: "Headset USB"'):
        sound_card.chosen("lapel", DEVICES, "input")
    with pytest.raises(Problem, match="choose one loudspeaker of: none"):
        sound_card.chosen("lapel", (), "output")


def arrivals_of(*calls, room=500):
    """Drive the sound card's callback: each call is (frames, overflow flag)."""
    arrivals = microphone._Arrivals(waiting=queue.Queue(room))
    for frames, overflow in calls:
        arrivals.take(bytes(2 * frames), frames, None, SimpleNamespace(input_overflow=overflow))
    return arrivals


def live_blocks(arrivals, count):
    return list(itertools.islice(microphone._cut_live(arrivals, Resampler(RATE), 0, 0.05), count))


def test_an_overflow_reported_by_the_sound_card_marks_the_block():
    blocks = live_blocks(arrivals_of((BLOCK, False), (BLOCK, True), (BLOCK, False)), 3)
    assert [block.overflow for block in blocks] == [False, True, False]


def test_a_full_queue_drops_blocks_counts_them_and_never_waits():
    arrivals = arrivals_of(*[(BLOCK, False)] * 7, room=4)
    first = live_blocks(arrivals, 4)
    arrivals.take(bytes(2 * BLOCK), BLOCK, None, SimpleNamespace(input_overflow=False))
    (after,) = live_blocks(arrivals, 1)
    assert not any(block.overflow for block in first)
    assert after.overflow
    assert after.start_ms == 3 * 20  # three blocks were lost; this call's clock began at 0


def test_a_microphone_that_falls_silent_is_lost(monkeypatch):
    """A pulled plug gives no error, the blocks just stop."""
    monkeypatch.setattr(microphone, "FIRST_AFTER_S", 0.05)
    with pytest.raises(MicrophoneLost, match="no sound has come"):
        live_blocks(arrivals_of((BLOCK, False)), 2)
