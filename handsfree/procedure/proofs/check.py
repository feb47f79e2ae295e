"""All proofs of one procedure, in order, with the findings placed and told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs import hearing as words
from handsfree.procedure.proofs import limits, re_entry, rows, sense, structure, translations, verdicts, wording
from handsfree.procedure.proofs.finding import PROOFS, ProofFinding
from handsfree.procedure.proofs.monitors import CaptureMonitor, ThingMonitor
from handsfree.procedure.proofs.search import Violation, reached, violations
from handsfree.procedure.proofs.stories import told

NOTHING_PROVEN = "it does not say what it is for, so a visit may finish with nothing shown; say it under `proves`"


@dataclass(frozen=True)
class ProofReport:
    """What was proven of a procedure and what was not."""

    procedure: Procedure
    findings: tuple[ProofFinding, ...]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What deserves a word although no proof fails by it."""
        nothing = () if self.procedure.file.proves else (NOTHING_PROVEN,)
        return (*nothing, *limits.remarks(self.procedure), *translations.remarks(self.procedure))

    @property
    def proven(self) -> bool:
        """Whether every proof holds."""
        return not self.findings

    def failed(self, proof: str) -> tuple[ProofFinding, ...]:
        """Return the findings of one proof."""
        return tuple(finding for finding in self.findings if finding.proof == proof)


def check(procedure: Procedure, catalogue: Catalogue | None = None) -> ProofReport:
    """Carry out every proof; raise Problem only when the procedure's `words` name no phones."""
    catalogue = catalogue or procedure.catalogue
    order = list(PROOFS)
    found = [_finding(led, words, violation) for led, words, violation in _in_each(procedure, catalogue)]
    unique = list(dict.fromkeys(found))
    return ProofReport(procedure, tuple(sorted(unique, key=lambda finding: order.index(finding.proof))))


def _in_each(procedure: Procedure, catalogue: Catalogue) -> Iterator[tuple[Procedure, Catalogue, Violation]]:
    """Yield what fails, with the words that it fails in: everything in those given, words in each other language.

    Words that are not the procedure's own are looked at alone.
    """
    yield from ((procedure, catalogue, violation) for violation in _all(procedure, catalogue))
    if catalogue is procedure.catalogue:
        yield from ((procedure, catalogue, one) for one in translations.lacking(procedure))
        for other in translations.others(procedure):
            yield from ((other, other.catalogue, one) for one in translations.lacking(other))
            yield from ((other, other.catalogue, one) for one in _in_words(other, other.catalogue))


def _all(procedure: Procedure, catalogue: Catalogue) -> Iterator[Violation]:
    visits = reached(procedure)
    yield from structure.unreachable(procedure, visits)
    yield from structure.dead_ends(procedure, visits)
    yield from structure.unbounded(procedure, visits)
    yield from structure.unprovable(procedure, visits)
    yield from sense.wrong_not_done(procedure)
    yield from sense.skipped_person(procedure)
    yield from sense.undecided(procedure)
    yield from sense.said_not_done(procedure)
    yield from sense.noted_stops(procedure)
    yield from sense.unlike(procedure)
    yield from sense.needed_around(procedure)
    yield from sense.put_back_otherwise(procedure)
    yield from sense.advised_on(procedure)
    yield from sense.wrong_firing(procedure)
    for name, thing in procedure.things.items():
        begun = procedure.file.begins.get(name) == thing.altered
        yield from violations(procedure, ThingMonitor(name, thing, begun))
        if thing.value is not None:
            yield from violations(procedure, CaptureMonitor(name))
    yield from wording.wrong_things(procedure)
    yield from verdicts.wrong_branches(procedure)
    yield from verdicts.reading_faults(procedure)
    yield from verdicts.verdict_faults(procedure)
    yield from limits.without_effect(procedure)
    yield from limits.judged_twice(procedure)
    yield from rows.row_faults(procedure)
    for gates in procedure.file.in_order:
        yield from violations(procedure, limits.OrderMonitor(gates))
    yield from re_entry.skipped(procedure, catalogue.stops, visits)
    yield from _in_words(procedure, catalogue)
    yield from wording.without_source(procedure)


def _in_words(procedure: Procedure, catalogue: Catalogue) -> Iterator[Violation]:
    """Yield what fails in the words of one language alone."""
    yield from sense.wrong_words(procedure)
    yield from sense.ordinary(procedure, catalogue)
    yield from verdicts.wrong_units(procedure, catalogue)
    heard = words.hearing_of(procedure, catalogue)
    yield from words.unstoppable(heard)
    yield from words.twice(heard)
    yield from words.too_alike(heard)
    yield from words.unpronounceable(heard)
    yield from words.unsayable_numbers(heard)
    yield from wording.too_long(procedure)
    yield from wording.unclean(procedure, catalogue)
    yield from wording.action_last(procedure, catalogue)
    yield from wording.unknown_facts(procedure)


def _finding(procedure: Procedure, catalogue: Catalogue, violation: Violation) -> ProofFinding:
    fault = violation.fault
    placed = procedure.gates.get(violation.gate)
    if violation.place is not None:
        place = violation.place
    elif placed is None or fault.at[:1] == ("things",):
        place = next(
            (d.places[fault.at] for d in procedure.documents if fault.at in d.places),
            procedure.documents[0].place(fault.at),
        )
    else:
        place = placed.at(*fault.at)
    story = told(procedure, catalogue, violation.transitions, violation.gate) if violation.transitions else ()
    what = fault.what if violation.exact else f"{fault.what} (unless loop counts rule it out)"
    return ProofFinding(fault.proof, place.told(what), place, violation.gate or None, story, fault.remedy)


def first_failure(
    procedure: Procedure, catalogue: Catalogue | None = None, known: frozenset[tuple[str, str]] = frozenset()
) -> tuple[str, str] | None:
    """Return the first proof that fails, as (proof, what), or None; much quicker than `check` on a bad procedure.

    Failures that are `known` are passed over.
    """
    for _, _, violation in _in_each(procedure, catalogue or procedure.catalogue):
        failure = (violation.fault.proof, violation.fault.what)
        if failure not in known:
            return failure
    return None


def failures(procedure: Procedure, catalogue: Catalogue | None = None) -> frozenset[tuple[str, str]]:
    """Return every failure as (proof, what)."""
    found = _in_each(procedure, catalogue or procedure.catalogue)
    return frozenset((violation.fault.proof, violation.fault.what) for _, _, violation in found)
