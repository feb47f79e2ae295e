"""What memory the process that hears takes on a visit: `python -m tests.bench.hearing.memory [--every 4]`.

The demo's technician leads a whole visit by keys, and what he would have said, in burner noise, is kept with the
grammar that each gate listens for. Then the process that hears on a visit (`handsfree/hearing/worker.py`) is given
all of it, the tool's own voice before each answer, as fast as it listens: without the third opinion and with it.
Prints its resident set, in MB: when the first grammar is taken up, in the middle, 19 times in 20 at most and at
last, each between two answers; the peak of the whole visit; and how much of it are pages of files, such as
libraries, which other processes share.
"""

from __future__ import annotations

import argparse
import pickle
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import BLOCK, BLOCK_MS, SoundBlock
from handsfree.hearing.utterance import UtteranceRecogniser
from handsfree.hearing.worker import Hearing, HearingFailed, HearingPlan
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.shipped import model_folder

if TYPE_CHECKING:  # the process that is measured imports this module, too
    from handsfree.hearing.general.weights import GeneralPlan

PROMPT = "Ambient CO?"
SNR_DB, ECHO = 20.0, 0.2
LONGEST_S = 60.0


@dataclass(frozen=True)
class Answered:
    """An answer in its sound, with the grammar that was listened for."""

    grammar: WordAutomaton
    sound: Samples


@dataclass(frozen=True)
class Visit:
    """What the process is given."""

    answers: Sequence[Answered]
    prompt: Samples
    stop_words: WordAutomaton
    pronunciations: Pronunciations
    general: GeneralPlan | None


@dataclass(frozen=True)
class Steps:
    """Files of samples, each played when the folder holds its mark, so that its grammar is known before."""

    folder: Path
    files: Sequence[str]
    name: str = "a visit"
    live: bool = False

    def blocks(self, from_ms: int = 0) -> Iterator[SoundBlock]:
        """Yield what may be played; blocks without samples while that has to be waited for."""
        at_ms = from_ms
        for number, name in enumerate(self.files):
            while not (self.folder / f"go-{number}").exists():
                time.sleep(0.005)
                yield SoundBlock(np.zeros(0, np.int16), at_ms, time.monotonic(), waited_s=0.005)
            samples = np.load(self.folder / name)
            for begin in range(0, len(samples) - BLOCK + 1, BLOCK):
                yield SoundBlock(samples[begin : begin + BLOCK], at_ms, time.monotonic())
                at_ms += BLOCK_MS
            (self.folder / f"done-{number}").touch()


def patient(folder: Path, pronunciations: Pronunciations, general: GeneralPlan | None) -> UtteranceRecogniser:
    """Make the recogniser of a visit; the third opinion is waited for, since here sound does not wait for it."""
    from handsfree.hearing.recogniser import Recogniser  # noqa: PLC0415 - as on a visit: only in the child

    if general is None:
        return Recogniser(folder, pronunciations)
    from handsfree.hearing.general.member import GeneralMember  # noqa: PLC0415

    member = GeneralMember(general)
    member.wait().patient()
    return Recogniser(folder, pronunciations, member)


def main() -> None:
    """Lead the visit, let it be heard, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="hear every so many-th answer only")
    parser.add_argument("--kept", type=Path, help="a file to keep the visit's sound in, or to take it from")
    parser.add_argument("--ways", nargs="*", default=["without", "with"])
    given = parser.parse_args()
    if given.kept is not None and given.kept.is_file():
        visit: Visit = pickle.loads(given.kept.read_bytes())
    else:
        visit = led()
        if given.kept is not None:
            given.kept.write_bytes(pickle.dumps(visit))
    visit = replace(visit, answers=visit.answers[:: given.every])
    print(f"{len(visit.answers)} answers, {len({one.grammar.identity for one in visit.answers})} grammars")
    for way in given.ways:
        if way == "with" and visit.general is None:
            print("with the third opinion: its weights are not installed")
            continue
        _tell(way, heard(visit if way == "with" else replace(visit, general=None)))


def led() -> Visit:
    """Lead the demo by keys; return what would have been said, and where."""
    from unittest.mock import patch  # noqa: PLC0415

    from handsfree.commands import demonstration  # noqa: PLC0415 - the child needs none of it
    from handsfree.demo.play import AFTER_S, BEFORE_S, RATE, Demo  # noqa: PLC0415
    from handsfree.demo.sound import in_the_closet  # noqa: PLC0415
    from handsfree.events import inputs as inp  # noqa: PLC0415
    from handsfree.hearing.general.weights import GeneralPlan  # noqa: PLC0415
    from handsfree.shipped import procedure_path  # noqa: PLC0415
    from handsfree.speaking.voice import Voice  # noqa: PLC0415

    answers, plans = [], []

    class Led(Demo):
        def _speak(self, words: str) -> None:
            state = self._recorder.state
            start = self._shift.randrange(self._roar.size // 2)
            sound = in_the_closet(self._say(words), self._roar[start:], self._snr_db, BEFORE_S, AFTER_S)
            answers.append(Answered(self._plan.grammar(state.question, state.gate).automaton, sound))
            plans.append(self._plan)
            self._clock.passes(sound.size / RATE)
            self._decided(self._recorder.take(inp.Typed(at=self._recorder.now(), text=words)), words)

    with tempfile.TemporaryDirectory() as folder, patch.object(demonstration, "Demo", Led):
        demonstration.play_demo(
            Path(folder) / "visit",
            procedure_path("two-rate-combustion"),
            model_folder(),
            snr_db=SNR_DB,
            voice="en-us+m3",
            clips=None,
            tell=lambda *_: None,
            ask_general=False,
        )
    voice = Voice()
    prompt = voice.render(PROMPT)
    voice.close()
    assert prompt is not None, voice.notice
    plan = plans[0]
    return Visit(
        answers,
        prompt.at_rate(RATE).samples,
        plan.stop_grammar.automaton,
        plan.pronunciations,
        GeneralPlan.of(plan.catalogue),
    )


def heard(visit: Visit) -> list[dict[str, float]]:
    """Let the process hear it; return its memory in MB when it is ready, and after each answer."""
    from handsfree.session.margins import MARGINS  # noqa: PLC0415 - the child is not told of it

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        np.save(folder / "prompt.npy", (visit.prompt * ECHO).astype(np.int16))
        files = []
        for number, one in enumerate(visit.answers):
            np.save(folder / f"{number}.npy", one.sound)
            files += ["prompt.npy", f"{number}.npy"]
        recogniser = partial(patient, model_folder(), visit.pronunciations, visit.general)
        hearing = Hearing(
            HearingPlan(
                # The last is never played: the process stays for the last look.
                Steps(folder, [*files, "prompt.npy"]),
                recogniser,
                visit.stop_words,
                in_talk=MARGINS.in_talk,
            ),
            hung_after_s=LONGEST_S,
        )
        found = []
        try:
            for number, one in enumerate(visit.answers):
                hearing.listen_for(one.grammar)
                hearing.tool_speaks(True, visit.prompt)
                _played(hearing, folder, 2 * number)
                hearing.tool_speaks(False)
                if number == 0:
                    found.append(memory(hearing.process_id))
                _played(hearing, folder, 2 * number + 1)
                found.append(memory(hearing.process_id))
            assert hearing.restarts == 0
        finally:
            hearing.close()
    return found


def _played(hearing: Hearing, folder: Path, number: int) -> None:
    (folder / f"go-{number}").touch()
    until = time.monotonic() + LONGEST_S
    while not (folder / f"done-{number}").exists():
        event = hearing.next_event(0.01)
        assert not isinstance(event, HearingFailed), event
        assert time.monotonic() < until, "the process that hears does not get on"


def memory(process: int) -> dict[str, float]:
    """Return what the system tells of a process's memory, in MB."""
    lines = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace").splitlines()
    told = dict(line.split(":", 1) for line in lines)
    return {name: int(told[name].split()[0]) * 1024 / 1e6 for name in ("VmRSS", "VmHWM", "RssFile")}


def _tell(way: str, found: Sequence[dict[str, float]]) -> None:
    ready, *answered = found
    resident = [one["VmRSS"] for one in answered]
    print(
        f"{way} the third opinion: ready {ready['VmRSS']:.0f}, middle {np.median(resident):.0f}, 19 in 20 at most"
        f" {np.percentile(resident, 95):.0f}, at last {resident[-1]:.0f}; peak {answered[-1]['VmHWM']:.0f};"
        f" files {np.median([one['RssFile'] for one in answered]):.0f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
