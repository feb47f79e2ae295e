"""What the third opinion costs: `python -m tests.bench.hearing.third_opinion_cost` prints time for each utterance.

Rows of three values and a confirmation by a synthetic voice, by two threads. CPU time is what the machine had to
do; wall time means something on two quiet cores only.
"""

from __future__ import annotations

import time

import numpy as np

from handsfree.hearing.ending import unfinished_too, whole_sentences
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.recogniser import Recogniser
from handsfree.procedure.languages import english
from models.training.split import Part
from tests.bench.hearing import calls
from tests.bench.hearing.footprint import resident
from tests.bench.hearing.material import ROOT, SPEECH


def main() -> None:
    """Measure and print."""
    plan = GeneralPlan.of(english())
    if plan is None:
        print("the weights of the general recogniser are not installed")
        return
    before = resident()
    ear = GeneralMember(plan).wait()
    print(f"loaded: {resident() - before:.0f} MB")
    ear.patient()
    ears = Recogniser(ROOT / "models" / "english")
    stage = calls.Stage(SPEECH, Part.TUNE)
    texts = {"row": ["nine point three, four point four, eighteen, maximum."] * 12, "to-do": ["done."] * 12}
    for name, said in texts.items():
        place = calls.places()[name]
        cpu, wall = [], []
        for number, text in enumerate(said):
            call = calls.Call(name, f"{number}", "", (), name, lambda text=text: calls.spoken("en-us+f2", text))
            whole = stage(call, 10.0)
            noise, sound = whole[:16_000], whole[16_000 : -16_000 // 2]
            heard = ears.recognise(sound.tobytes(), unfinished_too(place.grammar.automaton))
            listed = whole_sentences(heard, place.grammar.automaton)
            begin, began = time.process_time(), time.perf_counter()
            ear.weigh(sound, listed, place.grammar.automaton, noise)
            cpu.append(time.process_time() - begin)
            wall.append(time.perf_counter() - began)
        length = len(sound) / 16_000
        for what, times in (("CPU", cpu), ("wall", wall)):
            middle, most = (1000 * float(np.percentile(times, share)) for share in (50, 95))
            print(f"{name}, {length:.1f} s of sound: {what} {middle:.0f} ms, of 19 in 20 at most {most:.0f}")
        print(f"{name}: {resident() - before:.0f} MB with our own recogniser")


if __name__ == "__main__":
    main()
