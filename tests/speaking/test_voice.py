import os
import subprocess
import sys
import time
import wave
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))  # spawned children import the stand-ins by name

import faulty_engines

from handsfree.speaking import voice as voice_module
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import BROKEN_ENGINE, NO_ENGINE, Voice, VoiceSettings, load_engine, plausible


@pytest.fixture(scope="module")
def voice():
    speaking = Voice()
    if speaking.render("ready") is None:
        pytest.skip(speaking.notice)
    yield speaking
    speaking.close()


@pytest.fixture
def made():
    """Make voices that are closed at the end."""
    voices = []

    def make(*arguments, **options):
        voices.append(Voice(*arguments, **options))
        return voices[-1]

    yield make
    for each in voices:
        each.close()


def test_prompts_one_after_the_other_are_all_rendered_and_differ(voice):
    """pyttsx3 2.99 drops the first of two queued prompts and speaks no more after a file; ours all come."""
    texts = ["Nine three.", "Four four.", "One eight.", "CO eight zero. Again in thirty."]
    sounds = [voice.render(text) for text in texts]
    assert all(sound is not None and sound.duration_s > 0.3 for sound in sounds)
    assert len({sound.samples.tobytes() for sound in sounds}) == len(texts)
    assert sounds[3].duration_s > 1.5 * sounds[0].duration_s


def test_the_same_text_is_the_same_sound_and_comes_from_memory(voice):
    first = voice.render("Cover fitted?")
    assert voice.render("Cover fitted?") is first


def test_silence_at_both_ends_is_taken_off(voice):
    sound = voice.render("Readings.")
    loud = np.flatnonzero(np.abs(sound.samples.astype(int)) > 100) / sound.rate
    assert loud[0] <= 0.03
    assert sound.duration_s - loud[-1] <= 0.03


def test_a_killed_engine_is_replaced_and_the_prompt_still_comes(voice):
    voice._child.kill()
    assert voice.render("Burner off now.") is not None
    assert voice.notice is None


def test_settings_change_the_sound(made, voice):
    quick = made(VoiceSettings(words_per_minute=300)).render("Hold the maximum rate.")
    assert quick.duration_s < 0.8 * voice.render("Hold the maximum rate.").duration_s


def test_a_voice_that_does_not_exist_is_told_and_not_replaced_by_another(made, voice):
    wrong = made(VoiceSettings(name="nobody"))
    assert wrong.render("Ready.") is None
    assert wrong.notice == f"{BROKEN_ENGINE}: the voice 'nobody' cannot be set"


def test_a_folder_keeps_prompts_for_the_next_run_and_a_damaged_one_is_rendered_again(made, voice, tmp_path):
    first = made(keep_in=tmp_path).render("Probe in.")
    (kept,) = tmp_path.glob("*.wav")
    without_engine = made(keep_in=tmp_path, engine=faulty_engines.none)
    assert np.array_equal(without_engine.render("Probe in.").samples, first.samples)
    kept.write_bytes(kept.read_bytes()[:60])
    assert np.array_equal(made(keep_in=tmp_path).render("Probe in.").samples, first.samples)


def test_a_folder_that_cannot_be_written_does_not_silence_the_voice(made, voice, tmp_path):
    assert made(keep_in=tmp_path / "missing").render("Probe in.") is not None


@pytest.mark.real_time
def test_without_an_engine_prompts_stay_text_and_the_reason_is_one_sentence(made):
    silent = made(engine=faulty_engines.none)
    assert silent.render("Readings.") is None
    assert silent.notice == NO_ENGINE
    begun = time.perf_counter()
    assert silent.render("Nine three.") is None
    assert time.perf_counter() - begun < 0.01, "it is not tried again for each prompt"


@pytest.mark.parametrize("engine", ["cut_short", "mute", "dies_once"])
def test_a_bad_rendering_is_noticed_and_tried_again_in_a_fresh_process(made, engine, tmp_path, monkeypatch):
    monkeypatch.setenv("HANDSFREE_TEST_MEMORY", str(tmp_path / "tried"))
    recovering = made(engine=getattr(faulty_engines, engine))
    assert recovering.render("nine point three").duration_s == pytest.approx(1.0, abs=0.05)
    assert recovering.notice is None


def test_an_engine_that_hangs_is_given_up_after_some_attempts(made, monkeypatch):
    monkeypatch.setattr(voice_module, "RENDER_PATIENCE_S", 0.2)
    hanging = made(engine=faulty_engines.hangs)
    assert hanging.render("nine point three") is None
    assert hanging.notice == BROKEN_ENGINE


def test_empty_text_is_no_sound_and_no_fault(voice):
    assert voice.render("  ") is None
    assert voice.notice is None


def test_what_is_plausible():
    second = Sound((8000 * np.sin(np.arange(22050) / 10)).astype(np.int16), 22050)
    assert plausible(second, "nine point three")
    assert not plausible(second, " ".join(["word"] * 30))
    assert not plausible(second.after_silence(9000), "no")
    assert not plausible(Sound(np.zeros(22050, np.int16), 22050), "nine")
    assert not plausible(Sound(np.zeros(0, np.int16), 22050), "nine")


def test_no_engine_library_at_all_is_said_so(monkeypatch):
    monkeypatch.setitem(sys.modules, "espeakng_loader", None)
    with pytest.raises(OSError, match="no speech engine found"):
        load_engine(("libnobody.so.1",))


def test_the_bundled_engine_is_loaded_when_the_system_has_none():
    """In a process of its own, since a library once loaded stays."""
    pytest.importorskip("espeakng_loader", reason="the optional extra bundled-voice is not installed")
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            "from handsfree.speaking.voice import load_engine; print(load_engine(('none.so',)))",
        ],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert Path(told.stdout.strip()).is_dir()


def test_prompts_long_unused_are_forgotten_and_can_be_had_again(made, monkeypatch):
    """A day of read-backs must not fill the memory; what is used stays."""
    monkeypatch.setattr("handsfree.speaking.voice.PROMPTS_KEPT", 2)
    voice = made()
    first = voice.render("One.")
    voice.render("Two.")
    assert voice.render("One.") is first
    voice.render("Three.")
    assert voice.render("One.") is first
    assert set(voice._kept) == {"Three.", "One."}
    assert voice.render("Two.") is not None


def test_a_kept_prompt_is_an_ordinary_sound_file(made, voice, tmp_path):
    made(keep_in=tmp_path).render("Probe in.")
    (kept,) = tmp_path.glob("*.wav")
    with wave.open(str(kept)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
