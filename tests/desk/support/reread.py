"""A second reading of a record and of the paper made from it, sharing no code with the desk.

`contradictions` lists every sentence of the paper that the record does not bear out, every sentence of a kind it
does not know, and every name of the program's own that shows.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

from read_record import Paper, Reread, shown

NOT_BAD = {"within", "too-close", "no-limit", "missing"}
TITLES = {
    "finished": "Report", "incomplete": "Incomplete visit", "made-safe": "Stopped and left off",
    "left-as-reported": "Stopped work", "stopped": "Stopped work", None: "Visit that is not closed",
}  # fmt: skip
HAZARDS = {
    "stop-work": "called stop", "fire": "fire", "feel-ill": "ill", "electric-shock": "shock", "burn": "burn",
    "flood": "water", "must-leave": "leave", "no-answer": "nobody answered", "gas-smell": "smell of gas",
    "co-alarm": "monoxide", "burner-out": "went out", "abnormal-burning": "flame lifted",
    "refrigerant-leak": "refrigerant", "frostbite": "frost",
    "high-pressure": "pressure", "burning-smell": "burning", "fan-blades": "blades",
    "turn-not-undone": "not undone", "no-reading": "could not be taken",
}  # fmt: skip
STAY_OUT = "Stay out until the emergency service allows going in. "
UNTIL = ("Leave the appliance off", "Leave the fan off", "Leave the unit off", "Leave everything off")


TAKEN_BACK = (
    r"The work was stopped (?:(?P<many>\d+) times )?at the step “(?P<gate>.+?)”: (?P<why>.+)\. "
    r"It went on, since the technician said that it was (?P<none>.+)\."
    r"|Stops taken back in the same way, beyond these: (?P<more>\d+)\."
)


def contradictions(paper: Paper, record: Reread) -> list[str]:
    """What the paper says and the record does not."""
    return [*_title(paper, record), *_in_short(paper, record), *_parts(paper, record), *_names(paper, record)]


def _title(paper: Paper, record: Reread) -> Iterator[str]:
    if not paper.title.startswith(TITLES[record.outcome] + ": "):
        yield f"title {paper.title!r} of a visit that ended {record.outcome}"
    if record.outcome != "finished" and "report" in paper.title.lower():
        yield f"a report of a visit that ended {record.outcome}"


def _in_short(paper: Paper, record: Reread) -> Iterator[str]:
    for line in paper.sections[""]:
        told = list(_sentence(line, record))
        yield from told
    text = " ".join(paper.sections[""])
    if record.left and not all(name in text for name in record.left):
        yield f"not all of {record.left} is told on page one"
    if record.undone and "left out; the reasons" not in text:
        yield "steps left out are not told on page one"
    if record.outcome not in {"finished", None} and not all(
        lack["what"] in text for lack in record.closed["lacking"]
    ):
        yield "what the visit did not show is not told on page one"
    back = [found for line in paper.sections[""] if (found := re.fullmatch(TAKEN_BACK, line))]
    told = sum(int(found["many"] or found["more"] or 1) for found in back)
    if told != len(record.taken_back()):
        yield f"{told} of {len(record.taken_back())} stops that were taken back are told on page one"
    if record.in_force() and not any(f"{until}" in text for until in UNTIL):
        yield "what must stay off is not told on page one"


def _sentence(line: str, record: Reread) -> Iterator[str]:  # noqa: C901 - one case a sentence
    wrong = f"untrue: {line}"
    if found := re.fullmatch(r"The work was finished on (.+)\.", line):
        if record.outcome != "finished" or found[1] != record.entries[0][2]["day"]:
            yield wrong
    elif line == "The visit came to its end without all that it was for.":
        if record.outcome != "incomplete":
            yield wrong
    elif found := re.fullmatch(
        r"The work was stopped at the step “(.+)” and did not go on: (.+?)\. (The tech.+|Some.+)", line
    ):
        if found[1] != record.last_gate() or not record.in_force() or not _reason(found[2], record.in_force()[-1]):
            yield wrong
        last = max(seq for seq, _ in record.stops)
        is_open = record.stays_open(last)
        if found[3].startswith("The technician") and (record.outcome != "made-safe" or is_open):
            yield wrong
        if found[3].startswith("Some") and not (record.outcome == "left-as-reported" and is_open):
            yield wrong
    elif found := re.fullmatch(TAKEN_BACK, line):
        here = [(stop, none) for stop, none in record.taken_back() if record.titles[stop["gate"]] == found["gate"]]
        if not found["more"] and not any(
            _reason(found["why"], stop) and found["none"] == none for stop, none in here
        ):
            yield wrong
    elif found := re.fullmatch(
        r"The visit is not closed: .+ at the step “(.+?)”\.(?: The work is stopped: (.+)\.)?", line
    ):
        if (
            record.outcome is not None
            or found[1] != record.last_gate()
            or bool(found[2]) != bool(record.in_force())
        ):
            yield wrong
    elif found := re.fullmatch(r"Not shown on this visit: (.+)\.", line):
        ended = record.closed["outcome"] in {
            "finished",
            "incomplete",
        }  # else the end is why it was not done
        told = [(one["what"], one["why"]) for one in record.closed["lacking"]]
        due = "; ".join(f"{what} ({why})" if ended or why != "not done" else what for what, why in told)
        if found[1] != due:
            yield wrong
    elif found := re.fullmatch(r"(One step was|(\d+) steps were) left out; the reasons stand below\.", line):
        if int(found[2] or 1) != len(record.undone):
            yield wrong
    elif found := re.fullmatch(r"Not put back: (.+)\.", line):
        if set(re.findall(r"(?:^|, | and )([^,]+? \([^)]+\))", found[1])) != record.left:
            yield wrong
    elif found := re.fullmatch(r"Everything changed for the work was reported put back \((\d+)\).*\.", line):
        if record.left or int(found[1]) != len(record.spans):
            yield wrong
    elif line == "Nothing was changed for the work.":
        if record.spans:
            yield wrong
    elif line.removeprefix(STAY_OUT).startswith(UNTIL):
        if not (record.in_force() or record.left) or line.startswith(STAY_OUT) != record.sent_out():
            yield wrong
    elif line.startswith("WARNING NOTICE DUE. "):
        bad = [
            event["sentence"].replace(" Cel", " °C")
            for _, event in record.all("verdict")
            if event["outcome"] not in NOT_BAD
        ]
        if not (record.in_force() or record.left or any(sentence in line for sentence in bad)):
            yield wrong
        if "Stopped: " in line and not record.in_force():
            yield wrong
    else:
        yield from _judged(line, record)


def _judged(line: str, record: Reread) -> Iterator[str]:  # noqa: C901 - one case a kind
    wrong = f"untrue: {line}"
    given = [event for _, event in record.all("verdict")]
    last = {event["calculation"]: event["outcome"] for event in given}
    if line == "Nothing was judged against a limit.":
        if set(last.values()) - {"missing"}:
            yield wrong
    elif line == "Everything judged at the end was within the limits used.":
        # a verdict that lacks a pass which the way never came to says nothing
        if not given or set(last.values()) - {"missing"} != {"within"}:
            yield wrong
    elif found := re.fullmatch(r"Outside its limits at the end: (.+)\.", line):
        for title in _titles(found[1], record):
            if all(event["outcome"] in NOT_BAD for event in record.verdicts_of(title)):
                yield wrong
    elif found := re.fullmatch(
        r"(Nothing judged at the end was outside its limits|Nothing was judged against a limit)\."
        r"(?: Not judged, since a reading is missing: (.+?)\.)?(?: No limit loaded: (.+?)\.)?"
        r"(?: Too close to a limit to call: (.+?)\.)?",
        line,
    ):
        if any(outcome not in NOT_BAD for outcome in last.values()):
            yield wrong
        if found[1] == "Nothing was judged against a limit" and {"within", "too-close"} & set(last.values()):
            yield wrong
        for titles, outcome in zip(found.groups()[1:], ("missing", "no-limit", "too-close"), strict=True):
            for title in _titles(titles, record) if titles else ():
                if all(event["outcome"] != outcome for event in record.verdicts_of(title)):
                    yield wrong
    else:
        yield f"a sentence that nobody checks: {line}"


def _titles(text: str, record: Reread) -> list[str]:
    """The titles in a list, longest first, since a title may hold a comma."""
    found = []
    for title in sorted(set(record.titles.values()), key=len, reverse=True):
        if title in text:
            found.append(title)
            text = text.replace(title, "")
    assert found, text
    return found


def _reason(told: str, stop: dict) -> bool:
    """Whether the words tell that stop."""
    if stop["why"] == "limit":
        return (
            stop["detail"].partition(" ")[2].replace("[ppm]", "ppm") in told.replace("°C", "Cel")
            and "limit" not in told.split(maxsplit=1)[0].lower()
        )
    if stop["why"] in HAZARDS:
        return HAZARDS[stop["why"]] in told
    return stop["detail"].rstrip(".") in told


def _parts(paper: Paper, record: Reread) -> Iterator[str]:  # noqa: C901 - one case a kind
    yield from _table(paper, record)
    lines = paper.sections.get("Stops", [])
    times = [re.match(r"[\d:]+ to [\d:]+, (\d+) times, at ", line) for line in lines]
    stops = [line for line, many in zip(lines, times, strict=True) for _ in range(int(many[1]) if many else 1)]
    if len(stops) != len(record.stops):
        yield f"{len(stops)} stops told of {len(record.stops)}"
    for line, (seq, event) in zip(stops, record.stops, strict=False):
        if not _reason(line, event) or ("did not go on" in line) != (seq > record.resumed):
            yield f"untrue: {line}"
    not_done = paper.sections["Not done"]
    empty = not_done == ["No step was left out."]
    display = [line for line in not_done if "the display showed" in line]
    told = [line for line in not_done if line not in display and not empty]
    due = [f"{record.titles[gate]}: {_why(reason)}" for gate, reason in record.undone.items()]
    if sorted(told) != sorted(due):
        yield f"not done: {told} told, {due} on record"
    for line in display:
        name = line.split(":")[0]
        readings = [e["reading"] for _, e in record.all("reading-accepted") if printed(e["reading"]) == name]
        if readings[-1]["value"] not in {"no reading", "over range"}:
            yield f"untrue: {line}"
    read = {printed(event["reading"]) for _, event in record.all("reading-accepted")}
    for line in paper.sections.get("Not reached", []):
        if record.ended:
            yield f"not reached, on a visit that came to its end: {line}"
        if line.startswith("Never read: "):
            for name in line.removeprefix("Never read: ").rstrip(".").split("; "):
                if name in read:
                    yield f"{name} was read"
    ahead = next((lines for head, lines in paper.sections.items() if head.startswith("Steps that still")), [""])
    for title in ahead[0].split("; "):
        if title in record.titles.values():
            yield f"{title} was reached"
    last = {printed(e["reading"]): shown(e["reading"]) for _, e in record.all("reading-accepted")}
    others = next(lines for head, lines in paper.sections.items() if head in {"Other readings", "Readings"})[0]
    for part in [] if others == "None." else others.rstrip(".").split("; "):
        if not any(part.startswith(f"{name} {value}") for name, value in last.items()):
            yield f"no such last reading: {part}"


def _why(reason: str) -> str:
    return (
        reason.strip().removeprefix("not done because").strip(" ,.")
        or "the reason was spoken and is kept as sound"
    )


NAMES = {"co2": "CO₂", "o2": "O₂", "co": "CO", "ambient_co": "CO in the room", "air_duct_o2": "O₂ in the air duct",
         "air_duct_co2": "CO₂ in the air duct"}  # fmt: skip


def printed(reading: dict) -> str:
    """A quantity as it is printed."""
    name = reading["quantity"]
    return NAMES.get(name, name.replace("_", " ").capitalize())


def _table(paper: Paper, record: Reread) -> Iterator[str]:
    """Each value found or left is on record, read before the first or after the last turn; so are the things."""
    heading, rows = next(
        ((head, rows) for head, rows in paper.tables.items() if rows[0][0] == "" and len(rows[0]) > 1), ("", [])
    )
    if not rows:
        return
    if not record.ended and ("left" in " ".join(rows[0] + [row[0] for row in rows]) or "final one" not in heading):
        yield f"values as left on a visit that ended {record.outcome}: {heading}, {rows[0]}"
    columns = [list(column) for column in zip(*rows, strict=True)]
    if any(row[0] == "Air flow" for row in rows[1:]) or "Air flow" in rows[0]:
        columns = rows
    names = columns[0]
    turns = [seq for seq, event in record.all("turned") if event["eighths"]]
    for column in columns[1:]:
        head = column[0]
        cells = dict(zip(names[1:], column[1:], strict=True))
        seqs = [
            _seq_of(record, head, name, cell)
            for name, cell in cells.items()
            if cell[:1].isdigit() and name not in {"Superheat", "Subcooling"}
        ]
        if None in seqs:
            yield f"a value that is not on record: {head} {cells}"
            continue
        if ", found" in head and seqs and turns and min(seqs) > turns[0]:
            yield f"{head} was read after a turn"
        if head.endswith("left") and seqs and turns and max(seqs) < turns[-1]:
            yield f"{head} was read before the last turn"
        yield from _while_read(record, head, cells, seqs)


def _seq_of(record: Reread, head: str, name: str, cell: str) -> int | None:
    """The entry of a value in the table: the first or the last that fits, kept where the heading says."""
    number, point = cell.split(" ", maxsplit=1)[0], head.split(",", maxsplit=1)[0].lower()
    found = [
        (seq, event["kept_at"].replace("-", " ") == point)
        for kind in ("value-settled", "reading-accepted")
        for seq, event in record.all(kind)
        if printed(event["reading"]) == name and shown(event["reading"]) == number
    ]
    there = [seq for seq, here in found if here] or [seq for seq, _ in found]
    return None if not there else there[0] if "found" in head or "first" in head else there[-1]


def _while_read(record: Reread, head: str, cells: dict[str, str], seqs: list[int]) -> Iterator[str]:
    """What is told as altered was so when something was read; nothing is kept back."""
    told = cells.get("While read", "")
    if not seqs:
        return
    readings = record.all("reading-accepted")
    gate = [event["gate"].rsplit("/", 1)[-1] for seq, event in readings if seq <= max(seqs)][-1]
    needs = record.gates.get(gate, {}).get("needs") or {}
    for name, thing in record.things.items():
        words = f"{thing['said']} {thing['altered']}"
        if words in told and not any(record.altered(name, seq) for seq, _ in readings):
            yield f"{words} told for {head}, and nothing was read then"
        through = all(record.altered(name, seq) for seq in seqs)
        if through and words not in told and needs.get(name) != thing["altered"]:
            yield f"{words} kept back for {head}: {told}"


def _names(paper: Paper, record: Reread) -> Iterator[str]:
    """No name of the program's own shows outside the part about the record itself."""
    text = " ".join(
        line for head, lines in paper.sections.items() if head != "The record" for line in lines
    ) + " ".join(" ".join(row) for rows in paper.tables.values() for row in rows)
    for code in re.findall(r"\bCel\b|\[ppm\]|\[in_i'H2O\]|\[cft_i\]", text):
        yield f"a unit's code shows: {code}"
    own = {*record.gates, *record.things, *HAZARDS, "made-safe", "left-as-reported", "visit-closed", "stop-work"}
    own |= {event["calculation"] for _, event in record.all("verdict")}
    spoken = " ".join(record.said) + json.dumps(record.things) + json.dumps(record.gates)
    prompts = re.sub(r'"(id|then|point|calculation|file|to|using|kind)": "[^"]*"', "", spoken).lower()
    for name in sorted(own):
        if (
            "-" in name
            and re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", text.lower())
            and f" {name}" not in prompts
        ):
            yield f"an internal name shows: {name}"
