"""Values called out at one gate: checked, read back, corrected, called a second time, accepted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from handsfree.events import decisions as ev
from handsfree.gates.block import Rate
from handsfree.gates.divided_words import ask_division, example_of_division
from handsfree.gates.value import alike, asked_apart, has_twin, in_doubt, not_believed, spoken_value
from handsfree.gates.visit import How, Understanding, Visit
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Called, Correction, InUnit, Meaning, Values
from handsfree.questions import Question
from handsfree.questions.alike_quantities import AlikeQuantities
from handsfree.questions.ask import Ask
from handsfree.questions.digits import Digits
from handsfree.questions.keep_it import KeepIt
from handsfree.questions.kind import Scope
from handsfree.questions.once_more import OnceMore
from handsfree.questions.read_back import ReadBackCheck
from handsfree.questions.tied_values import TiedValues
from handsfree.questions.which_value import WhichValue

Then = Callable[[Visit], None]

MOST_DIGITS_ASKED = 3


@dataclass(frozen=True)
class CalledValues:
    """What is done with the values of one gate; `then` is called when all asked values are accepted."""

    asks: tuple[Ask, ...]
    point: str
    rate: Rate | None = None
    capturing: bool = False
    """A setting is called, which must be a number."""
    timed: bool = False
    """A volume is called, which must be a number."""

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return every question that called values can lead to."""
        quantities = tuple(ask.quantity for ask in self.asks)
        asked: list[Question] = [ReadBackCheck(quantities=quantities), WhichValue()]
        asked.append(KeepIt(quantities=quantities, reason="", how="affirmed"))
        for number, quantity in enumerate(quantities):
            rest = quantities[number + 1 :]
            asked.append(WhichValue(quantity=quantity, missing=rest))
            asked += [OnceMore(quantity=quantity), Digits(quantity=quantity)]
            if rest:
                asked.append(ReadBackCheck(quantities=quantities[: number + 1], missing=rest))
        if len(quantities) > 1:
            asked.append(example_of_division(scope, quantities))
        if scope.tied and set(scope.tied) <= set(quantities):
            asked.append(TiedValues(quantities=scope.tied))
        if scope.alike is not None and set(scope.alike) <= set(quantities):
            asked.append(AlikeQuantities(quantity=scope.alike[0], other=scope.alike[1]))
        return tuple(asked)

    def hear(self, visit: Visit, meaning: Meaning, utterance: Understanding, then: Then) -> bool:
        """Act on values, corrections and confirmations; False for anything else."""
        question, pending = visit.state.question, visit.state.pending
        if isinstance(meaning, Values):
            self._values_called(visit, meaning, utterance, then)
            return True
        if isinstance(meaning, Correction) and pending.values:
            return self._correct(visit, meaning, utterance)
        if isinstance(question, AlikeQuantities) and meaning in {Answer("affirm"), Answer("deny")}:
            quantity = question.quantity if meaning == Answer("affirm") else question.other
            visit.ask(WhichValue(quantity=quantity), visit.words("ask-for", what=visit.name(quantity)))
            return True
        if isinstance(question, ReadBackCheck | KeepIt) and meaning in {Answer("keep"), Answer("affirm")}:
            if self._affirmed(visit, question):
                self._go_on(visit, then)
            return True
        if meaning == Answer("deny") and (
            isinstance(question, ReadBackCheck | KeepIt) or question.manner.second_call
        ):
            self._denied(visit)
            return True
        return False

    def _values_called(self, visit: Visit, meaning: Values, utterance: Understanding, then: Then) -> None:
        """Take values as a first or a second call; what may be one value or two is asked first."""
        second = visit.state.question.manner.second_call
        if utterance.divisions and not second:
            missing = self._missing(visit) or [ask.quantity for ask in self.asks]
            ask_division(visit, utterance.divisions, missing[0])
            return
        self._rate_with_values(visit, meaning, utterance)
        if second:
            self._second_call(visit, meaning, utterance, then)
        else:
            self._first_call(visit, dict(meaning.values), utterance)

    def _denied(self, visit: Visit) -> None:
        """Ask for the value again, or which of several was wrong."""
        pending = visit.state.pending
        question = visit.state.question
        denied = question.quantities if isinstance(question, KeepIt) else tuple(pending.values)
        if len(denied) == 1:
            reading = pending.values[denied[0]]
            visit.emit(ev.ReadingRefused(reading=reading, why="the person denied it"))
            self._ask_missing(visit)
        else:
            visit.ask(WhichValue(), visit.words("wrong-which"))

    def _rate_with_values(self, visit: Visit, meaning: Values, utterance: Understanding) -> None:
        """Take the rate called before or after the values; the wrong one counts, and a doubtful one not at all."""
        called = [rate for rate in (meaning.before, meaning.after) if rate is not None]
        competing = [hypothesis for hypothesis in utterance.competing if isinstance(hypothesis, Values)]
        doubtful = any(
            (hypothesis.before, hypothesis.after) != (meaning.before, meaning.after) for hypothesis in competing
        )
        if called and not doubtful:
            wrong = [rate for rate in called if rate != self.rate]
            visit.emit(ev.RateCalled(rate=(wrong or called)[-1]))

    def _first_call(self, visit: Visit, values: dict[str, Called], utterance: Understanding) -> None:
        """Check called values one by one and together, then read back those that may stand."""
        records = {quantity: visit.record_of(quantity, called) for quantity, called in values.items()}
        refused: list[ev.ReadingRecord] = []
        for quantity, record in records.items():
            why = self._not_believed(visit, quantity, record)
            if why is not None:
                visit.emit(ev.ReadingRefused(reading=record, why=why))
                refused.append(record)
        believed = {quantity: record for quantity, record in records.items() if record not in refused}
        if believed:
            together = {**visit.state.pending.values, **believed}
            self._pend(visit, together, self._doubtful(visit, together, believed, utterance))
        if refused and not visit.beyond(visit.state.pending.values):
            name, value = visit.name(refused[0].quantity), spoken_value(visit, refused[0])
            text = visit.words("out-of-range", what=name, value=value)
            visit.ask(OnceMore(quantity=refused[0].quantity), text)
        elif not self._untrue(visit) and not self._shown_otherwise(visit, believed, utterance):
            self._say_back(visit, believed)

    def _pend(self, visit: Visit, values: Mapping[str, ev.ReadingRecord], doubtful: tuple[str, ...]) -> None:
        """Keep called values as not accepted yet, in the order asked."""
        order = [ask.quantity for ask in self.asks]
        row = sorted(values.values(), key=lambda one: order.index(one.quantity))
        visit.emit(ev.ReadBack(values=tuple(row), doubtful=doubtful))

    def _say_back(self, visit: Visit, called: Iterable[str]) -> None:
        """Read back what was just called and what was not read back before; by name where several may be meant."""
        question, pending = visit.state.question, visit.state.pending.values
        heard = set(question.quantities) - set(called) if isinstance(question, ReadBackCheck) else set()
        records = [one for quantity, one in pending.items() if quantity not in heard]
        if len(self.asks) > 1:
            said = [f"{visit.name(one.quantity)} {spoken_value(visit, one)}" for one in records]
        else:
            said = [spoken_value(visit, one) for one in records]
        self._read_back(visit, visit.words("taken", values=". ".join(map(sentence_case, said))))

    def _read_back(self, visit: Visit, text: str) -> None:
        pending = tuple(visit.state.pending.values)
        visit.ask(ReadBackCheck(quantities=pending, missing=tuple(self._missing(visit))), text)

    def _not_believed(self, visit: Visit, quantity: str, record: ev.ReadingRecord) -> str | None:
        """Say why a value is not believed."""
        ask = next((one for one in self.asks if one.quantity == quantity), None)
        if ask is None:
            return "it was not asked for"
        return not_believed(visit, ask, record, self._must_be_a_number())

    def _must_be_a_number(self) -> str | None:
        """Say why a display without a number is no answer, where it is none: nothing is put back to dashes."""
        if self.timed:
            return "a volume is a number"
        return "a setting is a number" if self.capturing else None

    def _doubtful(
        self,
        visit: Visit,
        together: Mapping[str, ev.ReadingRecord],
        fresh: Mapping[str, ev.ReadingRecord],
        utterance: Understanding,
    ) -> tuple[str, ...]:
        """Return the quantities that must be called a second time, whatever is answered to the read-back."""
        doubtful = set(visit.state.pending.doubtful)
        for quantity, record in fresh.items():
            beyond = visit.decides_a_stop(quantity, together)
            if in_doubt(utterance, quantity) or beyond or has_twin(visit, record, utterance):
                doubtful.add(quantity)
        return tuple(quantity for quantity in together if quantity in doubtful)

    def _untrue(self, visit: Visit) -> bool:
        """Ask tied values again when they cannot all be true; a second time they stand, marked.

        They are not marked when only values called before their display had settled spoke against them.
        """
        untrue = visit.untrue()
        if untrue is None:
            return False
        if visit.state.pair_refused:
            surely = visit.untrue(surely=True)
            if surely is not None:
                visit.emit(ev.PairDoubted(kept_at=self.point, reason=surely.reason))
            return False
        pending = visit.state.pending.values
        for quantity in untrue.quantities:
            if quantity in pending:
                visit.emit(ev.ReadingRefused(reading=pending[quantity], why=untrue.reason, pair=True))
        other = (
            visit.words("pair-other-supply", supply=untrue.fits) if untrue.fits else visit.words("pair-not-true")
        )
        visit.ask(TiedValues(quantities=untrue.quantities), other)
        return True

    def _shown_otherwise(self, visit: Visit, called: Iterable[str], utterance: Understanding) -> bool:
        """Set what was called beside what the instrument shows; ask once for what differs, and that stands."""
        found = [visit.witnessed(visit.state.pending.values[one], utterance.onset) for one in called]
        differs: list[ev.InstrumentCompared] = []
        for compared in found:
            if compared is None:
                continue
            visit.emit(compared)
            if compared.asks and compared.reading is not None:
                visit.emit(ev.ReadingRefused(reading=compared.reading, why="the instrument shows otherwise"))
                differs.append(compared)
        if not differs:
            return False
        names = [one.shown.quantity for one in differs]
        several = len(self.asks) > 1 and len(differs) > 1
        named = [f"{visit.name(one)} " if several else "" for one in names]
        shown = [f"{name}{visit.as_shown(one)}" for name, one in zip(named, differs, strict=True)]
        said = [spoken_value(visit, one.reading) for one in differs if one.reading is not None]
        text = visit.words(
            "instrument-differs",
            shown=", ".join(shown),
            called=", ".join(f"{name}{value}" for name, value in zip(named, said, strict=True)),
            what=visit.names(names),
        )
        visit.ask(WhichValue(quantity=names[0], missing=tuple(names[1:])), text)
        return True

    def _correct(self, visit: Visit, meaning: Correction, utterance: Understanding) -> bool:
        """Replace a pending value by the corrected one and read it back."""
        quantity, called = meaning.values[0]
        pending = visit.state.pending.values
        if quantity is None:
            fitting = [
                one
                for one in pending
                if isinstance(called, Decimal | InUnit)
                and self._not_believed(visit, one, visit.record_of(one, called)) is None
            ]
            if len(fitting) != 1:
                visit.ask(WhichValue(), visit.words("wrong-which"))
                return True
            quantity = fitting[0]
        now = visit.record_of(quantity, called)
        if quantity in pending:
            visit.emit(ev.ReadingCorrected(was=pending[quantity], now=now))
        together = {**visit.state.pending.values, quantity: now}
        doubtful = tuple(
            one
            for one in self._doubtful(visit, together, {quantity: now}, utterance)
            if one != quantity or in_doubt(utterance, one) or has_twin(visit, now, utterance)
        )
        self._pend(visit, together, doubtful)
        if not self._untrue(visit) and not self._shown_otherwise(visit, (quantity,), utterance):
            value = spoken_value(visit, now)
            self._read_back(visit, visit.words("correction", what=visit.name(quantity), value=value))
        return True

    def _affirmed(self, visit: Visit, question: ReadBackCheck | KeepIt) -> bool:
        """Accept what a yes confirms; False when some of it is unusual, and is asked about first."""
        pending = visit.state.pending
        if isinstance(question, KeepIt):
            self._accept(visit, question.quantities, question.how, question.reason)
            return self._confirmed(visit, question.rest, question.how)
        beyond = visit.beyond(pending.values)  # stopping needs no second hearing
        taken = [quantity for quantity in pending.values if beyond or quantity not in pending.doubtful]
        return self._confirmed(visit, taken, "affirmed")

    def _confirmed(self, visit: Visit, quantities: Sequence[str], how: Literal["affirmed", "twice"]) -> bool:
        """Accept confirmed values; False when one of them is unusual, and is asked about first."""
        found = visit.unusual(quantities)
        asked = {quantity for one in found for quantity in one.quantities}
        self._accept(visit, [quantity for quantity in quantities if quantity not in asked], how)
        if not found:
            return True
        first = found[0]
        rest = tuple(quantity for quantity in quantities if quantity in asked - set(first.quantities))
        visit.ask(KeepIt(quantities=first.quantities, reason=first.reason, how=how, rest=rest), first.text)
        return False

    def _accept(self, visit: Visit, quantities: Iterable[str], how: How, unusual: str = "") -> None:
        """Accept pending values."""
        taken = visit.state.sets.get(self.point, ())
        number = taken[-1].number if taken and not taken[-1].complete else len(taken) + 1
        for quantity in quantities:
            pending = visit.state.pending
            corrected = quantity in pending.corrected and how == "affirmed"
            visit.emit(
                ev.ReadingAccepted(
                    at=visit.at,
                    gate=visit.state.gate,
                    kept_at=self.point,
                    number=number,
                    reading=pending.values[quantity],
                    how="corrected" if corrected else how,
                    unusual=unusual,
                )
            )

    def _go_on(self, visit: Visit, then: Then) -> None:
        """Go on after values were accepted: stop limits, a second call, what is missing, then `then`."""
        taken = visit.state.sets.get(self.point, ())
        if taken and not taken[-1].complete and visit.stop_if_beyond(taken[-1].values):
            return
        if visit.state.pending.values:
            quantity, first = next(iter(visit.state.pending.values.items()))
            if asked_apart(visit, first):
                self._ask_digits(visit, quantity)
            else:
                text = visit.words("once-more", what=visit.name(quantity))
                visit.ask(OnceMore(quantity=quantity), text)
            return
        if not self._ask_missing(visit):
            then(visit)

    def _ask_missing(self, visit: Visit) -> bool:
        """Ask for the first value that this set still lacks; False when it is whole."""
        missing = self._missing(visit)
        if not missing:
            return False
        question = WhichValue(quantity=missing[0], missing=tuple(missing[1:]))
        visit.ask(question, visit.words("ask-for", what=visit.name(missing[0])))
        return True

    def _missing(self, visit: Visit) -> list[str]:
        """Return what this set still lacks, in the order asked: neither accepted nor called."""
        taken = visit.state.sets.get(self.point, ())
        have = set(taken[-1].values) if taken and not taken[-1].complete else set()
        have |= set(visit.state.pending.values)
        return [ask.quantity for ask in self.asks if ask.quantity not in have]

    def _ask_digits(self, visit: Visit, quantity: str) -> None:
        """Ask for a value digit by digit; when even that stays doubtful, point to the keys."""
        question = Digits(quantity=quantity)
        attempt = visit.state.attempt + 1 if visit.state.question == question else 1
        saying = "digit-by-digit" if attempt <= MOST_DIGITS_ASKED else "keys"
        visit.ask(question, visit.words(saying, what=visit.name(quantity)), attempt=attempt)

    def _second_call(self, visit: Visit, meaning: Values, utterance: Understanding, then: Then) -> None:
        """Compare an independent second call with the first: alike is accepted, different is read back anew.

        A second call in doubt itself, or by a word with a twin, proves nothing and is asked for digit by digit.
        """
        quantity, called = meaning.values[0]
        again = visit.record_of(quantity, called)
        if has_twin(visit, again, utterance) or in_doubt(utterance, quantity):
            self._ask_digits(visit, quantity)
            return
        first = visit.state.pending.values.get(quantity)
        if first is not None and alike(visit, first, again):
            self._pend(visit, {**visit.state.pending.values, quantity: again}, visit.state.pending.doubtful)
            if visit.state.pair_refused:
                self._untrue(visit)  # a doubt stands as before; nothing is refused a second time
            if self._confirmed(visit, [quantity], "twice"):
                self._go_on(visit, then)
            return
        why = self._not_believed(visit, quantity, again)
        if why is not None:
            visit.emit(ev.ReadingRefused(reading=again, why=why))
            self._ask_digits(visit, quantity)
            return
        together = {**visit.state.pending.values, quantity: again}
        doubtful = tuple(dict.fromkeys((*visit.state.pending.doubtful, quantity)))
        self._pend(visit, together, doubtful)
        if not self._untrue(visit) and not self._shown_otherwise(visit, (quantity,), utterance):
            text = visit.words("correction", what=visit.name(quantity), value=spoken_value(visit, again))
            self._read_back(visit, visit.words("differs", what=text) if first is not None else text)

    def silence(self, visit: Visit, then: Then) -> None:
        """Accept only what others have confirmed and no verdict hangs on; ask for everything else once more.

        Who calls one value after the other is not done: the next is asked for, and what was called waits.
        """
        if self._missing(visit) and not visit.beyond(visit.state.pending.values):
            self._ask_missing(visit)
            return
        confirmed = visit.confirmed_by_others()
        if confirmed and not visit.unusual(confirmed):
            self._accept(visit, confirmed, "silence")
        self._go_on(visit, then)
