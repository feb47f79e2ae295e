"""What the customer's report says, before it is set as PDF or HTML."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.desk import wording
from handsfree.desk.dossier import Dossier, seal_words
from handsfree.desk.measured import FLUE, Group
from handsfree.desk.rules_done import warning_due

Row = list[str]

CAUTIONS = (
    "The maker's manual and local code come first; this report clears no hazard.",
    "Combustion readings hold for the conditions of the day: fuel, air, vent and load.",
    "Have a licensed person service the appliance at the maker's interval; keep a carbon monoxide alarm working.",
)

UNTIL = "Leave the appliance off until a licensed person has put this right and measured again."


@dataclass(frozen=True)
class Customer:
    """The report's parts in the order they stand; tables have their headings as first row."""

    title: str
    sentence: str
    facts: list[tuple[str, str]]
    warning: list[str]
    until: str
    rates: list[Row]
    verdicts: list[Row]
    others: str
    not_done: list[str]
    put_back: str
    cautions: tuple[str, ...]
    seal: str
    signatures: list[str]
    foot: str


def customer_report(dossier: Dossier) -> Customer:
    """Return what the report says of a visit."""
    recorded, opened = dossier.evidence.recorded, dossier.evidence.recorded.opened
    head = dossier.report.head
    seal = f"{head.count} entries, checksum {head.checksum}" if head else "no entries"
    broken = dossier.report.verdict.value == "broken"
    return Customer(
        title="Combustion set-up report",
        sentence=("THE RECORD BEHIND THIS REPORT DOES NOT VERIFY. " if broken else "") + dossier.sentence,
        facts=[
            ("Appliance", f"{opened.appliance}, serial {opened.serial}"),
            ("Site", opened.site),
            ("Job", f"{opened.job}, {opened.day}"),
            *([("Fuel", opened.fuel)] if opened.fuel else []),
            ("Technician", f"{opened.technician}, licence {opened.licence}"),
            ("Instrument", f"{opened.instrument}, serial {opened.instrument_serial}"),
            ("Calibrated", f"until {opened.calibrated_until}"),
            ("Manual", _manual(dossier)),
        ],
        warning=warning_due(dossier.evidence),
        until=UNTIL,
        rates=_rates(dossier),
        verdicts=_verdicts(dossier),
        others=_others(dossier),
        not_done=[
            f"{recorded.gate_title(event.gate)}: {event.reason or 'reason kept as sound'}"
            for _, event in dossier.evidence.not_done
        ],
        put_back=_put_back(dossier),
        cautions=CAUTIONS,
        seal=f"{seal_words(dossier.report.verdict.value)}: {dossier.report.sentence}. Checked: "
        f"{', '.join(dossier.report.checks) or 'nothing'}. "
        f"Recorded by {opened.program}, procedure {opened.procedure}.",
        signatures=[
            f"Technician: {opened.technician}, licence {opened.licence}",
            "Customer",
            "Date, next service",
        ],
        foot=f"{opened.job}, {opened.appliance} {opened.serial}, {opened.day}. {seal}",
    )


def _manual(dossier: Dossier) -> str:
    sheets = dossier.evidence.sheets
    return (
        f"{sheets.appliance.manual.file}, revision {sheets.appliance.manual.revision}"
        if sheets
        else "not readable"
    )


def _rates(dossier: Dossier) -> list[Row]:
    groups = [group for rate in dossier.evidence.rates for group in (rate.before, rate.after)]
    heads = [f"{rate.rate.capitalize()}, {when}" for rate in dossier.evidence.rates for when in ("found", "left")]
    rows = [["", *heads]]
    rows += [[wording.quantity(name), *(_value(group, name) for group in groups)] for name in FLUE]
    rows.append(["Judged", *(_judged(group) for group in groups)])
    return rows


def _value(group: Group | None, name: str) -> str:
    return wording.value(group.values[name].reading) if group and name in group.values else "\N{EN DASH}"


def _judged(group: Group | None) -> str:
    if group is None or group.verdict is None:
        return "\N{EN DASH}"
    return wording.outcome(group.verdict.outcome, demonstrated=group.verdict.demonstrated)


def _verdicts(dossier: Dossier) -> list[Row]:
    rows = [["What", "Value, band, standard uncertainty", "Verdict", "Limit from"]]
    for _, verdict in dossier.evidence.final_verdicts:
        numbers = verdict.numbers
        value = numbers.get("value")
        told = verdict.sentence
        if value is not None and "band" in numbers:
            share = f", u = {numbers['standard uncertainty']}" if "standard uncertainty" in numbers else ""
            told = f"{value}, band {numbers['band']}{share}"
        rows.append(
            [
                dossier.evidence.recorded.gate_title(verdict.gate),
                told,
                wording.outcome(verdict.outcome, demonstrated=verdict.demonstrated),
                "; ".join(dict.fromkeys(verdict.sources)),
            ]
        )
    return rows


def _others(dossier: Dossier) -> str:
    last = {
        event.reading.quantity: event.reading
        for _, event in dossier.evidence.readings
        if event.reading.quantity not in FLUE
    }
    told = [f"{wording.quantity(name)} {wording.value(reading)}" for name, reading in last.items()]
    return "; ".join(told) + "." if told else "None."


def _put_back(dossier: Dossier) -> str:
    left = [span for span in dossier.evidence.alterations if span.until is None]
    if left:
        return "Still altered: " + wording.listed([f"{span.said} {span.state}" for span in left]) + "."
    settings = [f"{span.said} {span.left}" for span in dossier.evidence.alterations if span.left]
    count = len(dossier.evidence.alterations)
    return f"All {count} alterations were put back" + (
        f"; settings: {wording.listed(settings)}." if settings else "."
    )
