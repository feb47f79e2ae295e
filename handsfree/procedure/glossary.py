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
    "fact": "One entry of a sheet: `job.NAME` or `appliance.NAME`.",
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


def glossary_lines() -> Iterator[str]:
    """Yield the part as lines of Markdown."""
    yield from ("## Words of this page", "", "| word | means |", "|---|---|")
    for word, means in GLOSSARY.items():
        yield f"| {word} | {means} |"
    yield ""


__all__ = ["GLOSSARY", "glossary_lines"]
