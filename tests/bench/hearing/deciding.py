"""What a visit makes of what was heard, by the session's own rules: with the third opinion and without it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import cache
from typing import Any, Literal

from handsfree.demo.play import scenario_files
from handsfree.events.inputs import Heard
from handsfree.events.state import State
from handsfree.lexicon.grammar import Grammar
from handsfree.lexicon.meaning import HazardSaid, Meaning
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.session.fusion import Interpretation, choose, choose_by_sound
from handsfree.session.plan import Plan
from handsfree.visit.folder import load_plan
from tests.bench.hearing import calls, new_words
from tests.bench.hearing.measures import told

RIGHT, WRONG, ASKED, MISSED = "at once right", "at once wrong", "asked", "missed"
STOPPED, ANSWERED, LEFT = "stopped", "answered", "left alone"
Found = Mapping[str, Any]
CLEARLY = Decimal("1.5")
Judge = Literal["ours", "third", "both"]
JUDGED: Mapping[Judge, str] = {
    "ours": "without the third opinion",
    "both": "with the third opinion",
    "third": "the third opinion alone",
}
ALONE_LEAD, ALONE_AHEAD = Decimal(3), Decimal(5)
"""What was looked at when it was first tried alone: its lead over other meanings; how far free text may lead."""


@cache
def plan() -> Plan:
    """Return the shipped procedure with the demo's sheets."""
    return load_plan(calls.PROCEDURE, scenario_files()[0])[0]


def without(heard: Heard) -> Heard:
    """Return what was heard as it would have been recorded without the third opinion."""
    ours = tuple(
        one.model_copy(update={"general": None, "habit": None, "phones": None})
        for one in heard.alternatives
        if one.score != -10  # what our own list holds
    )
    return heard.model_copy(update={"alternatives": ours, "general": None})


def outcome(found: Found, judge: Judge) -> str:
    """Return what a visit does with a call, all its utterances together; the gravest counts."""
    grammar, state = _asked(found)
    said = set(grammar.read(found["words"]))
    seen = set()
    for each in found["heard"]:
        heard = Heard.model_validate(each)
        if judge == "third":
            seen.add(_by_the_third(heard, grammar, said))
            continue
        one = _chosen(state, grammar, heard if judge == "both" else without(heard))
        if isinstance(one.meaning, HazardSaid):
            seen.add(STOPPED if found["words"] == ["stop"] or one.meaning not in said else RIGHT)
        elif one.meaning is None:
            seen.add(LEFT if not one.competing or not found["words"] else MISSED)
        elif one.doubt:
            seen.add(ASKED)
        else:
            seen.add(RIGHT if one.meaning in said else WRONG)
    return next((kind for kind in (STOPPED, WRONG, ASKED, RIGHT) if kind in seen), MISSED)


def understood(found: Found, judge: Judge) -> bool:
    """Say whether what was said is what a visit takes a call for, at once or by asking."""
    grammar, state = _asked(found)
    said = set(grammar.read(found["words"]))
    heard = [Heard.model_validate(each) for each in found["heard"]]
    weighed = heard if judge == "both" else map(without, heard)
    return any(_chosen(state, grammar, one).meaning in said for one in weighed)


def _chosen(state: State, grammar: Grammar, heard: Heard) -> Interpretation:
    """Return what a visit makes of it; at a question that no shipped procedure has no value is likelier."""
    if state.gate in plan().procedure.gates:
        return choose(plan(), state, grammar, heard)
    said = Pronunciations(new_words.procedure().words)
    return choose_by_sound(plan().catalogue, said, grammar, heard)


def _asked(found: Found) -> tuple[Grammar, State]:
    place = calls.places()[found["place"]]
    known = place.gate in plan().procedure.gates
    grammar = plan().grammar(place.question, place.gate) if known else place.grammar
    return grammar, State(status="running", gate=place.gate, question=place.question)


def _by_the_third(heard: Heard, grammar: Grammar, said: set[Meaning]) -> str:
    """Return what it would do by itself, the same grammar forced on it, by the margins of its first trials."""
    free = heard.general.likelihood if heard.general is not None else None
    known = [(one.general, set(grammar.read(one.text))) for one in heard.alternatives if one.general is not None]
    ranked = sorted(((score, meanings) for score, meanings in known if meanings), key=lambda each: -each[0])
    if free is None or not ranked or free - ranked[0][0] > ALONE_AHEAD:
        return MISSED if said else LEFT
    (score, meanings), others = ranked[0], ranked[1:]
    if min((score - other for other, meant in others if meant != meanings), default=ALONE_LEAD) < ALONE_LEAD:
        return ASKED
    return RIGHT if meanings & said else WRONG


def tell(found: Sequence[Found]) -> None:
    """Print the table: for each task, place and ratio what was done by our ears, by the third opinion, by both."""
    groups: dict[tuple[str, str, float], list[Found]] = defaultdict(list)
    for one in found:
        ratio = 99.0 if one["ratio"] is None else one["ratio"]
        place = "a question of phrases" if one["place"].startswith("new words") else one["place"]
        groups[one["task"], place, -ratio].append(one)
    taken = {judge: Counter[str]() for judge in JUDGED}
    for (task, place, ratio), here in sorted(groups.items()):
        level = "clean" if ratio == -99 else f"{-ratio:.0f} dB"
        hours = sum(one["seconds"] for one in here) / 3600
        people = len({one["speaker"] for one in here})
        print(f"\n{task} at {place}, {level}: {len(here)} by {people} voices, {hours:.2f} h")
        for judge, name in JUDGED.items():
            counts = Counter(outcome(one, judge) for one in here)
            taken[judge].update(counts if here[0]["words"] and task != "stop" else {})
            right = "" if judge == "third" or not here[0]["words"] else _understood(here, judge)
            print(f"  {name}: {_told(counts, here, hours)}{right}")
    doubted = in_doubt(found)
    for judge, counts in taken.items():
        all_taken = counts[RIGHT] + counts[WRONG]
        print(f"\n{JUDGED[judge]}: taken at once wrongly {told(counts[WRONG], all_taken)} of all taken at once")
        wrong = [one for one in found if _for_us(one) and outcome(one, judge) == WRONG]
        clear = [one for one in wrong if clip_of(one) not in doubted]
        print(
            f"  of {len({*map(clip_of, wrong)})} clips by {len({one['speaker'] for one in wrong})} voices;"
            f" {len(wrong) - len(clear)} of these calls have a label in doubt, the others are"
            f" {told(len(clear), all_taken)}"
        )
        for one in clear:
            print(f"    {one['task']}, {one['name']}, {one['ratio']}: {' '.join(one['words'])}")
    print(f"labels in doubt, since in quiet both hear the same other answer clearly: {sorted(doubted)}")


def _understood(here: Sequence[Found], judge: Judge) -> str:
    return f"; understood {told(sum(understood(one, judge) for one in here), len(here))}"


def in_doubt(found: Sequence[Found]) -> frozenset[str]:
    """Return the clips in which, hardly any noise about them, both opinions clearly prefer the same other answer.

    The collections are known to hold clips that do not say what their listing says; counting cut at its pauses
    goes wrong where two numbers were said in one breath, and then all that follow are named wrongly: where two
    numbers of one recording are in doubt, all are.
    """
    for_us = [one for one in found if _for_us(one)]
    doubted = {
        clip_of(one)
        for one in for_us
        if (one["ratio"] is None or one["ratio"] >= 20) and len(one["heard"]) == 1 and _otherwise(one)
    }
    slipped = Counter(recording for clip in doubted if (recording := _counting(clip)))
    return frozenset(
        clip
        for clip in {*map(clip_of, for_us)}
        if clip in doubted or ((recording := _counting(clip)) and slipped[recording] > 1)
    )


def _counting(clip: str) -> str:
    """Return the recording that a counted number was cut from; empty for anything else."""
    return clip.rpartition(" ")[0] if clip.startswith("number: coswara-counting") else ""


def _otherwise(found: Found) -> bool:
    grammar, heard = calls.places()[found["place"]].grammar, Heard.model_validate(found["heard"][0])
    said = set(grammar.read(found["words"]))
    meant = [(set(grammar.read(one.text)), one) for one in heard.alternatives]
    others = [one for meanings, one in meant if meanings and not meanings & said]
    right = [one for meanings, one in meant if meanings & said]
    if not others:
        return False
    other = max(others, key=lambda one: one.score)
    if other.general is None or any(one.general is not None and one.general > other.general for one in others):
        return False
    ours = max((one.score for one in right), default=Decimal(-20))
    theirs = max((one.general for one in right if one.general is not None), default=Decimal(-20))
    return other.score - ours >= 1 and other.general - theirs >= CLEARLY


def _for_us(found: Found) -> bool:
    return bool(found["words"]) and found["task"] != "stop"


def clip_of(found: Found) -> str:
    """Return the clip of a call, whatever noise was drawn and whatever it went through."""
    return f"{found['task'].split(',')[0]}: {found['name'].split(' #')[0]}"


def _told(counts: Mapping[str, int], here: Sequence[Found], hours: float) -> str:
    size = len(here)
    stopped = counts.get(STOPPED, 0)
    if here[0]["words"] == ["stop"]:
        return f"stops {told(stopped, size)}"
    if here[0]["words"]:
        parts = [f"{kind} {told(counts.get(kind, 0), size)}" for kind in (RIGHT, WRONG, ASKED, MISSED)]
        return "; ".join([*parts, f"false stops {stopped}"])
    answered = counts.get(ASKED, 0) + counts.get(WRONG, 0) + counts.get(RIGHT, 0)
    at_once = counts.get(WRONG, 0) + counts.get(RIGHT, 0)
    return (
        f"answered {told(answered, size)}; at once {told(at_once, size)}; false stops {stopped}, "
        f"{stopped / hours:.1f} an hour"
    )
