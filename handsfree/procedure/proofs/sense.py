"""What is proven of single gates and their likes: ways out in words, answers that decide, alike gates alike."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations

from handsfree.gates.outcomes import DONE, ENDS, EXHAUSTED, NO_ADVICE, NOT_ASKED, NOT_DONE
from handsfree.gates.when import is_fact
from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.search import ProofFault, Violation, generated
from handsfree.questions.ask import Thing
from handsfree.questions.finding import Finding
from handsfree.questions.rules import ordinary_words

_LEFT = frozenset({NOT_DONE, EXHAUSTED, NOT_ASKED})
"""Outcomes by which a gate is left without its work."""


_FAR = 4
"""A bound so many times that of all its likes is one that an author did not mean (our own rule, no source)."""


def wrong_not_done(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that refuse "not done" without cause, and those that let pass what must not be passed.

    It may be refused where something is altered or restored, and where the answer decides between going on
    and a written stop; it must be refused where something is restored. Skipping what later gates need is
    found by the proof of needs.
    """
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        if not gate.effects.refusable:
            continue
        passes = NOT_DONE in placed.transitions
        if placed.transitions.get(NOT_DONE) == gate_id:
            fault = ProofFault(
                "not-done", f"{gate_id}, not done, leads to itself", "lead elsewhere", ("not_done",)
            )
            yield Violation(gate_id, fault, ())
        restores = gate.effects.restores
        if restores and passes:
            what = f'{gate_id} restores {", ".join(restores)}, yet "not done" passes it'
            yield Violation(gate_id, ProofFault("not-done", what, "write not_done: false", ("not_done",)), ())
        changes = gate.effects.alters or restores
        decides = len(gate.phrases) > 1 and any(_stops(procedure, to) for to in placed.transitions.values())
        if not passes and not changes and not decides:
            what = f'{gate_id} cannot be passed by "not done, because"'
            yield Violation(
                gate_id, ProofFault("not-done", what, "say with not_done where it leads", ("not_done",)), ()
            )


def skipped_person(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates of a second person that "not done" passes to a gate where an answer leads too."""
    for gate_id, placed in procedure.gates.items():
        by_answer = [decider for decider in placed.gate.when if not is_fact(decider)]
        if placed.gate.effects.answered_by == "second person" and by_answer:
            what = f"whether {gate_id} is asked of the second person hangs on the answer at {by_answer[0]}"
            remedy = "let a fact of the sheets decide, or a branch that all can see"
            yield Violation(gate_id, ProofFault("second-person", what, remedy, ("when", by_answer[0])), ())
        if placed.gate.effects.answered_by != "second person" or NOT_DONE not in placed.transitions:
            continue
        led = placed.transitions[NOT_DONE]
        answers = [outcome for outcome, to in placed.transitions.items() if outcome != NOT_DONE and to == led]
        if answers and not _stops(procedure, led):
            what = f'"not done" passes {gate_id} as the answer of the second person does'
            remedy = "say with not_done where it leads when nobody is there"
            yield Violation(gate_id, ProofFault("second-person", what, remedy, ("answered_by",)), ())


def undecided(procedure: Procedure) -> Iterator[Violation]:
    """Yield choices whose answers all lead to one gate, and answers that stop the visit only sometimes.

    One word has one meaning: an answer that leads to a written stop at one question does so at every question.
    """
    stops_at: dict[str, str] = {}
    goes_on_at: dict[str, list[str]] = {}
    for gate_id, placed in procedure.gates.items():
        if len(placed.gate.phrases) < 2:
            continue
        targets = {placed.transitions[name] for name in placed.gate.phrases}
        only = procedure.gates.get(next(iter(targets)))
        if len(targets) == 1 and not placed.gate.effects.matches and not (only is not None and generated(only)):
            what = f"all answers of {gate_id} lead to {next(iter(targets))}, so it decides nothing"
            yield Violation(gate_id, ProofFault("decides", what, "correct an answer's `then`", ("answers",)), ())
        for name in placed.gate.phrases:
            to = placed.transitions[name]
            if _stops(procedure, to):
                stops_at.setdefault(name, gate_id)
            else:
                goes_on_at.setdefault(name, []).append(gate_id)
    for name, first in stops_at.items():
        for gate_id in goes_on_at.get(name, ()):
            what = f'the answer "{name}" stops the visit at {first}, but leads on at {gate_id}'
            fault = ProofFault("decides", what, "use another answer where it does not stop", ("answers", name))
            yield Violation(gate_id, fault, ())


def _stops(procedure: Procedure, to: str) -> bool:
    """Say whether a transition leads to a written stop."""
    return to not in ENDS and procedure.gates[to].gate.effects.end == "stop"


def wrong_words(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that alter a thing but are answered with the word for its restored state, or the reverse."""
    for gate_id, placed in procedure.gates.items():
        effects = placed.gate.effects
        both = ((effects.alters, "restored", "altered"), (effects.restores, "altered", "restored"))
        for names, wrong, done in both:
            words = {getattr(procedure.things[name], wrong) for name in names}
            right = {getattr(procedure.things[name], done) for name in names}
            for said in placed.gate.phrases.get(DONE, ()):
                if said in words - right:
                    what = f'{gate_id} counts {", ".join(names)} as {done} when "{said}" is called'
                    yield Violation(
                        gate_id, ProofFault("decides", what, "correct the words or the thing", ("done",)), ()
                    )


def noted_stops(procedure: Procedure) -> Iterator[Violation]:
    """Yield answers that stop the visit at a firing gate only after a few words: there the action comes first."""
    for gate_id, placed in procedure.gates.items():
        scope = procedure.scope(gate_id)
        for question in placed.gate.questions(scope) if placed.gate.firing else ():
            if isinstance(question, Finding) and _stops(procedure, placed.transitions[question.answer]):
                what = f'"{question.answer}" at {gate_id} stops what fires, yet asks for a few words first'
                fault = ProofFault("action-first", what, "remove note: true", ("answers", question.answer))
                yield Violation(gate_id, fault, ())


def ordinary(procedure: Procedure, catalogue: Catalogue) -> Iterator[Violation]:
    """Yield gates that alter or restore something and are passed by a word that people say for anything."""
    words = set(ordinary_words(catalogue))
    for gate_id, placed in procedure.gates.items():
        effects = placed.gate.effects
        changed = (*effects.alters, *effects.restores)
        if changed and effects.ordinary:
            what = f"{gate_id} changes {', '.join(changed)}, yet an ordinary yes passes it"
            yield Violation(gate_id, ProofFault("own-words", what, "remove own_words: false", ("own_words",)), ())
        elif changed and words & set(placed.gate.phrases.get(DONE, ())):
            said = next(text for text in placed.gate.phrases[DONE] if text in words)
            what = f'{gate_id} changes {", ".join(changed)}, yet "{said}" passes it'
            yield Violation(gate_id, ProofFault("own-words", what, "write a word of its own", ("done",)), ())
        elif changed:
            states = [
                *(procedure.things[name].altered for name in effects.alters),
                *(procedure.things[name].restored for name in effects.restores),
            ]
            yield from _of_something_else(placed, states)


def _of_something_else(placed: PlacedGate, states: list[str]) -> Iterator[Violation]:
    """Yield the words of a change that name no state it leads to, and nothing of what its title and prompt say."""
    text = _stems(" ".join(placed.gate.texts.values()))
    for said in placed.gate.phrases.get(DONE, ()):
        named = any(set(state.split()) <= set(said.split()) for state in states)
        if not named and not _stems(said) <= text:
            what = f'{placed.id} is passed by "{said}", which is neither {_either(states)} nor of its title'
            yield Violation(placed.id, ProofFault("own-words", what, "name the state", ("done",)), ())


def _stems(text: str) -> set[str]:
    """Return how the words of a text begin, short ones left out: "opened" and "open it" begin alike."""
    return {word[:4] for word in re.findall(r"[^\W\d_]{3,}", text.lower())}


def _either(words: list[str]) -> str:
    return " or ".join(f'"{word}"' for word in dict.fromkeys(words))


def advised_on(procedure: Procedure) -> Iterator[Violation]:
    """Yield adjust gates that lead on when no turn may be advised: then it is to stop and get help."""
    for gate_id, placed in procedure.gates.items():
        to = placed.transitions.get(NO_ADVICE)
        if to is not None and to not in ENDS and not _stops(procedure, to):
            what = f"{gate_id} leads on to {to} when no turn may be advised"
            yield Violation(gate_id, ProofFault("advice", what, "lead to a stop", ("no_advice",)), ())


def said_not_done(procedure: Procedure) -> Iterator[Violation]:
    """Yield confirmations that speak of a thing and of a state of it, but neither alter nor restore anything."""
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        done = gate.phrases.get(DONE)
        if done is None or gate.effects.alters or gate.effects.restores:
            continue
        text = set(re.findall(r"[a-z]+", " ".join(gate.texts.values()).lower()))
        for name, thing in procedure.things.items():
            told = {*done, *text}
            if _named(thing) <= text and {thing.altered, thing.restored} & told:
                what = f"{gate_id} speaks of a change of {thing.said}, but changes nothing"
                remedy = f"write alters or restores: [{name}]"
                yield Violation(gate_id, ProofFault("decides", what, remedy, ("done",)), ())
                break


def _named(thing: Thing) -> set[str]:
    return set(re.findall(r"[a-z]+", thing.said.lower()))


def _likes(procedure: Procedure) -> dict[tuple[object, ...], list[PlacedGate]]:
    """Return the gates that do the same, by what they do."""
    groups: dict[tuple[object, ...], list[PlacedGate]] = {}
    for placed in procedure.gates.values():
        effects = placed.gate.effects
        key: tuple[object, ...] | None = None
        if effects.asks and not effects.measures:
            key = ("asks", *(ask.quantity for ask in effects.asks))
        elif effects.turns:
            key = ("adjusts",)
        elif effects.alters and placed.gate.firing:
            key = ("alters", *effects.alters)
        if key is not None:
            groups.setdefault(key, []).append(placed)
    return groups


def needed_around(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that do not need a thing in a state which every gate right before and right after needs.

    Left out are what alters or restores the thing, what asks nothing, and ends; what alters something while it
    fires is held against its likes.
    """
    before: dict[str, set[str]] = {}
    for gate_id, placed in procedure.gates.items():
        for to in placed.transitions.values():
            if to not in ENDS:
                before.setdefault(to, set()).add(gate_id)
    for gate_id, placed in procedure.gates.items():
        effects, ways = placed.gate.effects, placed.transitions.items()
        after = {to for outcome, to in ways if outcome not in _LEFT and not _stops(procedure, to)}
        likes = effects.alters and placed.gate.firing
        if likes or effects.end or "prompt" not in placed.gate.texts or not before.get(gate_id):
            continue
        if not after or after.intersection(ENDS):
            continue
        around = [set(procedure.gates[one].gate.needs.items()) for one in (*before[gate_id], *after)]
        shared = set.intersection(*around) - set(placed.gate.needs.items())
        for thing, state in sorted(shared):
            if thing not in (*effects.alters, *effects.restores, *placed.gate.needs):
                what = f"{gate_id} does not need {thing} {state}, and every gate right before and after it does"
                fault = ProofFault("alike", what, f"write needs: {{{thing}: {state}}}", ("needs",))
                yield Violation(gate_id, fault, ())


def put_back_otherwise(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that put two things back the other way round than a gate before them in the file does."""
    first: dict[frozenset[str], tuple[str, tuple[str, str]]] = {}
    for placed in procedure.gates.values():
        if placed.gate.kind != "restore" or generated(placed):
            continue
        for pair in combinations(placed.gate.things, 2):
            other, order = first.setdefault(frozenset(pair), (placed.id, pair))
            if order != pair:
                what = f"{placed.id} puts {pair[0]} back before {pair[1]}, and {other} does it the other way round"
                yield Violation(placed.id, ProofFault("alike", what, "write one order", ("things",)), ())


def unlike(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that do as others do, less carefully: a need, a refusal or a wait was forgotten or lost.

    Gates do the same when they ask for the same quantities, turn an adjuster, or alter the same things while
    something fires. What a gate does at least, others may do alone: it needs what all of these need.
    """
    groups = _likes(procedure)
    for group in groups.values():
        for placed in group:
            others = [other for other in group if other is not placed]
            if not others:
                continue
            refused = [NOT_DONE not in other.transitions for other in others]
            if placed.gate.effects.alters and len(others) > 1 and all(refused) and NOT_DONE in placed.transitions:
                what = f'"not done" passes {placed.id}, but none of its likes ({others[0].id}, ...)'
                yield Violation(placed.id, ProofFault("alike", what, "write not_done: false", ("not_done",)), ())
            waits = [other.gate.effects.settle.wait_seconds for other in others if other.gate.effects.settle]
            own = placed.gate.effects.settle
            if own is not None and waits and own.wait_seconds < min(waits):
                what = f"{placed.id} waits {own.wait_seconds} s, and all its likes wait {min(waits)} s or longer"
                fault = ProofFault("alike", what, "wait as long as they do", ("settle",))
                yield Violation(placed.id, fault, ())
            bounds = [other.gate.at_most for other in others if other.gate.at_most is not None]
            bound = placed.gate.at_most
            if bound is not None and bounds and bound > _FAR * max(bounds):
                what = (
                    f"{placed.id} may be entered {bound} times, and each of its likes {max(bounds)} times at most"
                )
                yield Violation(
                    placed.id, ProofFault("alike", what, "write a bound like theirs", ("at_most",)), ()
                )
    yield from _needing_less(procedure)


def _needing_less(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that do at least what others do, here or in the same file, and need less than all of those."""
    doing = {gate_id: frozenset(_deeds(placed)) for gate_id, placed in procedure.gates.items()}
    for gate_id, placed in procedure.gates.items():
        lacking: dict[tuple[str, str], list[PlacedGate]] = {}
        for deed in sorted(doing[gate_id]):
            likes = [
                other
                for one, other in procedure.gates.items()
                if one != gate_id and deed in doing[one] and doing[one] <= doing[gate_id]
            ]
            for group in (likes, [one for one in likes if one.place.file == placed.place.file]):
                needs = [set(one.gate.needs.items()) for one in group]
                for need in set.intersection(*needs) if needs else ():
                    lacking.setdefault(need, group)
        for (thing, state), group in sorted(lacking.items(), key=lambda found: found[0]):
            if thing not in placed.gate.needs:
                told = ", ".join(one.id for one in group[:3])
                what = f"{gate_id} does not need {thing} {state}, but all its likes do ({told})"
                fault = ProofFault("alike", what, f"write needs: {{{thing}: {state}}}", ("needs",))
                yield Violation(gate_id, fault, ())


def _deeds(placed: PlacedGate) -> Iterator[tuple[str, str]]:
    """Yield what a gate does that others may do too: it reads, turns, alters while it fires, or restores."""
    effects = placed.gate.effects
    if not effects.measures:
        yield from (("reads", ask.quantity) for ask in effects.asks)
    if effects.turns:
        yield "turns", ""
    if placed.gate.firing:
        yield from (("alters", thing) for thing in effects.alters)
    if "prompt" in placed.gate.texts:
        yield from (("restores", thing) for thing in effects.restores)


def wrong_firing(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates where something must be firing that are not marked so: there silence would be no alarm."""
    before: dict[str, list[str]] = {}
    for gate_id, placed in procedure.gates.items():
        for to in placed.transitions.values():
            before.setdefault(to, []).append(gate_id)
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        effects = gate.effects
        if gate.firing or generated(placed) or effects.end:
            continue
        if effects.goes_out:
            what = f"{gate_id} expects that what fires goes out, but is not firing"
            yield Violation(gate_id, ProofFault("firing", what, "write firing: true", ("answers",)), ())
        own = bool(effects.measures or effects.turns or effects.rate)
        around = [*before.get(gate_id, ()), *placed.transitions.values()]
        others = [procedure.gates[g].gate for g in around if g in procedure.gates]
        others = [other for other in others if not other.effects.end]
        has_both = before.get(gate_id) and any(to not in ENDS for to in placed.transitions.values())
        between = bool(has_both) and bool(others) and all(other.firing for other in others)
        if own or between:
            why = "reads a held rate or times the meter" if own else "lies between gates that fire"
            yield Violation(
                gate_id, ProofFault("firing", f"{gate_id} {why}, but is not firing", "write firing: true"), ()
            )
