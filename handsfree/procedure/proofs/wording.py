"""What is proven of the tool's own words: short, with their sources, and never a stop phrase."""

from __future__ import annotations

import re
from collections.abc import Iterator
from string import Formatter

from pydantic import BaseModel

from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.search import ProofFault, Violation, generated
from handsfree.procedure.sheets import model_of
from handsfree.procedure.trades import TradeData

MOST_WORDS = 10
"""Words in a prompt. The rule of DIALOGUE.md for busy hands: the longer an instruction, the more of it is lost
when it has to be kept in mind until the hands are free (errors grow with the items of a message in control
tower speech: Cardosi 1994, from memory). Ten words are about four seconds; the figure is common practice, no
source."""


def texts_of(procedure: Procedure) -> Iterator[tuple[str | None, tuple[str | int, ...], str]]:
    """Yield every text of the procedure that is spoken: gate id (None for the file), key, text."""
    for number, caution in enumerate(procedure.file.cautions):
        yield None, ("cautions", number), caution
    for name, thing in procedure.file.things.items():
        yield None, ("things", name, "said"), thing.said
    for gate_id, placed in procedure.gates.items():
        for key, text in placed.gate.texts.items():
            yield gate_id, (key,), text


def too_long(procedure: Procedure) -> Iterator[Violation]:
    """Yield prompts, scripts and cautions of more words than are remembered."""
    for gate_id, path, text in texts_of(procedure):
        count = len(re.sub(r"\{[^}]*\}", "x", text).split())
        if path[0] in {"prompt", "script", "cautions"} and count > MOST_WORDS:
            where = gate_id or "a caution"
            what = f"{where} says {count} words, {MOST_WORDS} are remembered"
            yield Violation(gate_id or "", ProofFault("short", what, "say less, or make two gates", path), ())


def unclean(procedure: Procedure, catalogue: Catalogue) -> Iterator[Violation]:
    """Yield texts that would stop the visit when the tool speaks them, or that promise what nobody can."""
    for gate_id, path, text in texts_of(procedure):
        ends = gate_id is not None and procedure.gates[gate_id].gate.effects.end == "stop"
        unspoken = ends and path == ("title",)  # nobody asks where he is once the work has stopped
        hazard = None if unspoken else catalogue.hazard_within(catalogue.as_heard(text))
        if hazard is not None:
            what = f'"{text}" holds a phrase of {hazard}, which would stop the visit'
            yield Violation(gate_id or "", ProofFault("clean", what, "say it in other words", path), ())
        if catalogue.wording.promise.search(text):
            what = f'"{text}" promises what nobody can know'
            yield Violation(gate_id or "", ProofFault("clean", what, "say what was found, and no more", path), ())


def without_source(procedure: Procedure) -> Iterator[Violation]:
    """Yield gates that do not say where they come from; what the language adds itself needs no source."""
    for gate_id, placed in procedure.gates.items():
        gate = placed.gate
        if generated(placed):
            continue
        if not (gate.source or "").strip():
            what = f"{gate_id} does not say where it comes from"
            remedy = "write its source, or 'common practice, no source'"
            yield Violation(gate_id, ProofFault("sources", what, remedy, ("source",)), ())
        settle = gate.effects.settle
        if settle is not None and not settle.source.strip():
            what = f"{gate_id} does not say where its waits come from"
            yield Violation(gate_id, ProofFault("sources", what, "write their source", ("settle", "source")), ())


def action_last(procedure: Procedure, catalogue: Catalogue) -> Iterator[Violation]:
    """Yield stop scripts that do not begin with what to do, or that ask."""
    for gate_id, placed in procedure.gates.items():
        script = placed.gate.texts.get("script")
        if script is not None:
            if not catalogue.wording.action.search(script.split(".")[0]):
                what = f'{gate_id} begins "{script.split(".")[0]}", which is not what to do'
                yield Violation(gate_id, ProofFault("action-first", what, "say first what to do", ("script",)), ())
            if "?" in script:
                what = f"{gate_id} asks a question"
                yield Violation(gate_id, ProofFault("action-first", what, "a stop asks nothing", ("script",)), ())


def unknown_facts(procedure: Procedure) -> Iterator[Violation]:
    """Yield blanks in prompts and facts of the job sheet that no sheet has."""
    for number, fact in enumerate(procedure.file.jobsheet):
        if fact.replace("-", "_") not in model_of(procedure.trade, "job").model_fields:
            fault = ProofFault("sheets", f"the job sheet has no fact {fact!r}", "correct it", ("jobsheet", number))
            yield Violation("", fault, ())
    for gate_id, path, text in texts_of(procedure):
        for blank in _blanks(text):
            if blank is None or not _known(blank, procedure.trade):
                what = f"{{{blank or text}}} is no fact of the sheets"
                fault = ProofFault("sheets", what, "write {job.NAME} or {appliance.NAME}", path)
                yield Violation(gate_id or "", fault, ())


def _blanks(text: str) -> list[str | None]:
    try:
        return [name for _, name, _, _ in Formatter().parse(text) if name is not None]
    except ValueError:
        return [None]


def _known(blank: str, trade: TradeData) -> bool:
    sheet, *names = blank.split(".")
    model: object = model_of(trade, sheet) if sheet in {"job", "appliance"} else None
    for name in names:
        if not (isinstance(model, type) and issubclass(model, BaseModel)) or name not in model.model_fields:
            return False
        model = model.model_fields[name].annotation
    return model is not None and bool(names)


def wrong_things(procedure: Procedure) -> Iterator[Violation]:
    """Yield confirmations that restore a setting without its value, or both alter and restore a thing.

    A gate that reads a setting as found must need the thing restored: whoever goes back to it after the
    change would otherwise call the changed setting, and it would be put back to that.
    """
    for gate_id, placed in procedure.gates.items():
        gate, effects = placed.gate, placed.gate.effects
        if effects.captures:
            name, thing = effects.captures, procedure.things[effects.captures]
            if gate.needs.get(name) != thing.restored:
                what = f"going back to {gate_id} after {name} was altered would read it as found once more"
                fault = ProofFault("captured", what, f"write needs: {{{name}: {thing.restored}}}", ("captures",))
                yield Violation(gate_id, fault, ())
        if effects.proves_settings:
            continue
        for name in effects.restores:
            if procedure.things[name].value is not None:
                what = f"{gate_id} restores {name} without its value being called"
                yield Violation(gate_id, ProofFault("restored", what, "use a restore gate", ("restores",)), ())
            if name in effects.alters:
                what = f"{gate_id} both alters and restores {name}"
                yield Violation(gate_id, ProofFault("restored", what, "make two gates", ("restores",)), ())
