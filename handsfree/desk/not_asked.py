"""Why gates were not asked: what the sheets say, or how an earlier gate was passed, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from handsfree.desk import wording
from handsfree.events import decisions as ev
from handsfree.events.record import Event
from handsfree.gates.outcomes import NOT_ASKED, NOT_DONE
from handsfree.gates.when import NOT_COME_TO, is_fact
from handsfree.procedure.branching import conditions
from handsfree.session.plan import Plan


def reasons(plan: Plan | None, events: Iterable[tuple[int, Event | None]]) -> Mapping[int, str]:
    """Return entry -> why a gate was passed over there, of numbered events in order."""
    found: dict[int, str] = {}
    outcomes: dict[str, str] = {}
    for seq, event in events:
        if isinstance(event, ev.GatePassed):
            if event.outcome == NOT_ASKED:
                readable = plan is not None and event.gate in plan.procedure.gates
                told = _told(plan, event.gate, outcomes) if plan is not None and readable else ()
                found[seq] = wording.listed(list(told)) if readable else "its conditions cannot be read"
            outcomes[event.gate] = event.outcome
    return found


def _told(plan: Plan, gate: str, outcomes: Mapping[str, str]) -> Iterator[str]:
    """Yield what speaks against asking a gate."""
    for decider, values in conditions(plan.gate(gate)).items():
        if is_fact(decider):
            value = plan.sheets.chosen(decider)
            sheet, _, name = decider.partition(".")
            if value is None and "not given" not in values:
                yield f"the {sheet} sheet does not say {wording.plain(name)}"
            elif value is not None and value not in values:
                yield f"the {sheet} sheet says {wording.plain(name)}: {value}"
            continue
        outcome = outcomes.get(decider, NOT_COME_TO)
        if outcome not in values:
            title = plan.gate(decider).gate.title
            as_it_is = outcome in {NOT_ASKED, NOT_DONE, NOT_COME_TO}
            yield f"“{title}” {'was' if as_it_is else 'gave:'} {wording.plain(outcome)}"
