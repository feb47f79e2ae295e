"""The words of the language of procedures, as authors meet them; they stand first on its page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

GLOSSARY: Mapping[str, str] = {
    "procedure": "A YAML file that leads a visit from its first gate to its finish.",
    "part": "A procedure that has exits. Others include it; run by itself it restores everything and finishes.",
    "gate": "One step that must be passed: something done, asked, read, judged, waited for or put back.",
    "outcome": "How a gate is left: `done`, an answer, `within`, `not done`, `exhausted`.",
    "transition": "Where an outcome leads: a gate, or an exit. A way is a gate together with an outcome.",
    "thing": "What the work changes and must put back: a cover, a supply, a setting. It has two states.",
    "alters, restores": "What a gate changes of the things, or puts back.",
    "needs": "The states that things must be in before a gate opens; the tool asks for one that lacks.",
    "phrase": "Words that the person says and the tool understands; nothing else passes the gate.",
    "prompt": "What the tool says as a gate opens.",
    "quantity": "What is read, with its unit and digits. Each trade has its own list.",
    "measurement point": "The name under which readings are kept. A verdict asks for them by it.",
    "settling": "Sets of readings, taken until they have stopped moving.",
    "verdict": "A judgement on readings, by a calculation of the trade and by limits. Nothing is asked.",
    "calculation": "A formula of the trade with its uncertainty. Formulas never stand in a procedure.",
    "limit": "The least or greatest value allowed: written in a gate, in a table, or on the appliance sheet.",
    "sheet": "The job sheet holds the facts of one job, the appliance sheet the maker's data for one model.",
    "fact": "One entry of a sheet, `job.NAME` or `appliance.NAME`; `handsfree template --sheet job` lists them.",
    "condition": "`when`: the facts and earlier answers by which a gate is asked at all.",
    "parameter": "A value that what includes a part gives to it: `$name`.",
    "item": "One of the names under `each`, for which a part is gone through.",
    "exit": "A named way out of a part; what includes it says where it leads.",
    "claim": "What a procedure is for, under `proves`. A visit that lacks one is incomplete, never finished.",
    "stop": "Make-safe: the order is spoken first, and the visit stops.",
    "firing": "Something burns at this gate, so silence is an alarm.",
    "proof": "What `handsfree check` shows of every visit that a procedure allows. A remark fails nothing.",
    "story": "A visit told beside a procedure, with what must then be so; `handsfree test` runs it.",
    "bundle": "A released version of a procedure, signed by its author, as devices take it.",
}
"""A word -> what it means here, in the order in which an author meets them."""

OUTCOMES: Mapping[str, str] = {
    "done": "The person said so, or the readings were taken.",
    "not done": 'The person said "not done, because", or "dashes" for a reading; `not_done` says where it leads.',
    "exhausted": "The gate would be entered more often than `at_most` allows.",
    "not asked": "`when` did not hold, so the gate was passed over; `otherwise` says where it leads.",
    "unsettled": "The readings did not stop moving within `most_sets`.",
    "dropped back": "The rate that was to be held was lost.",
    "different": "A choice with `matches` was answered with something else.",
    "no advice": "No turn can be advised: the maker forbids one, or has no figure.",
    "within": "A verdict: the reading keeps its limits.",
    "outside": "A verdict: it does not.",
    "too-close": "A verdict: it is nearer to a limit than its uncertainty, so neither can be said. With "
    "`reading-in-limits` only where the gate gives an `accuracy`; else it needs no branch.",
    "no-limit": "A verdict: neither the sheets nor the table give a limit.",
    "missing": "A verdict: a reading that it judges was not taken.",
}
"""How a gate can be left, apart from the answers of a choice -> what that means."""


def glossary_lines() -> Iterator[str]:
    """Yield the part as lines of Markdown."""
    yield from ("## Words of this page", "", "| word | means |", "|---|---|")
    for word, means in GLOSSARY.items():
        yield f"| {word} | {means} |"
    yield ""


def outcome_lines() -> Iterator[str]:
    """Yield how gates are left, as lines of Markdown."""
    yield from ("## Outcomes", "", "A choice is left by one of its answers, or as any gate:", "")
    yield from ("| outcome | means |", "|---|---|")
    for outcome, means in OUTCOMES.items():
        yield f"| `{outcome}` | {means} |"
    yield ""
    yield "One [calculation](#calculations-a-verdict-may-name) alone may have others, such as `find-source`."
    yield ""


__all__ = ["GLOSSARY", "OUTCOMES", "glossary_lines", "outcome_lines"]
