"""Values called out at one gate: checked, read back, corrected, called a second time, accepted."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.gates.block import Rate
from handsfree.gates.visit import How, Utterance, Visit
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE, Answer, Called, Correction, Meaning, Values
from handsfree.questions import Question
from handsfree.questions.alike_quantities import AlikeQuantities
from handsfree.questions.ask import Ask
from handsfree.questions.digits import Digits
from handsfree.questions.kind import Scope
from handsfree.questions.once_more import OnceMore
from handsfree.questions.read_back import ReadBack
from handsfree.questions.tied_values import TiedValues
from handsfree.questions.which_value import WhichValue

Then = Callable[[Visit], None]

MOST_DIGITS_ASKED = 3


def spoken_value(visit: Visit, record: ev.ReadingRecord) -> str:
    """Return a recorded value as the tool says it."""
    if record.value in {OVER_RANGE, NO_READING}:
        return visit.words(record.value.replace(" ", "-"))
    return visit.catalogue.numbers.digits(Decimal(record.value))


def numeric(values: Mapping[str, ev.ReadingRecord]) -> dict[str, Decimal]:
    """Return the values that are numbers."""
    return {
        quantity: Decimal(record.value)
        for quantity, record in values.items()
        if record.value not in {OVER_RANGE, NO_READING}
    }


@dataclass(frozen=True)
class CalledValues:
    """What is done with the values of one gate; `then` is called when all asked values are accepted."""

    asks: tuple[Ask, ...]
    at: str
    rate: Rate | None = None
    capturing: bool = False
    """A setting is called, which must be a number."""
    timed: bool = False
    """A volume is called, which must be a number."""

    def questions(self, scope: Scope) -> tuple[Question, ...]:
        """Return every question that called values can lead to."""
        quantities = tuple(ask.quantity for ask in self.asks)
        asked: list[Question] = [ReadBack(quantities=quantities), WhichValue()]
        for quantity in quantities:
            asked += [WhichValue(quantity=quantity), OnceMore(quantity=quantity), Digits(quantity=quantity)]
        if scope.tied and set(scope.tied) <= set(quantities):
            asked.append(TiedValues(quantities=scope.tied))
        if scope.alike is not None and set(scope.alike) <= set(quantities):
            asked.append(AlikeQuantities(quantity=scope.alike[0], other=scope.alike[1]))
        return tuple(asked)

    def hear(self, visit: Visit, meaning: Meaning, utterance: Utterance, then: Then) -> bool:
        """Act on values, corrections and confirmations; False for anything else."""
        question, pending = visit.state.question, visit.state.pending
        if isinstance(meaning, Values):
            self._rate_with_values(visit, meaning, utterance)
            if question.manner.second_call:
                self._second_call(visit, meaning, utterance, then)
            else:
                self._first_call(visit, dict(meaning.values), utterance)
            return True
        if isinstance(meaning, Correction) and pending.values:
            return self._correct(visit, meaning, utterance)
        if isinstance(question, AlikeQuantities) and meaning in {Answer("affirm"), Answer("deny")}:
            quantity = question.quantity if meaning == Answer("affirm") else question.other
            visit.ask(WhichValue(quantity=quantity), visit.words("ask-for", what=visit.name(quantity)))
            return True
        if isinstance(question, ReadBack) and meaning == Answer("affirm"):
            beyond = visit.beyond(pending.values)  # stopping needs no second hearing
            taken = [quantity for quantity in pending.values if beyond or quantity not in pending.doubtful]
            self._accept(visit, taken, "affirmed")
            self._go_on(visit, then)
            return True
        if meaning == Answer("deny") and (isinstance(question, ReadBack) or question.manner.second_call):
            self._denied(visit)
            return True
        return False

    def _denied(self, visit: Visit) -> None:
        """Ask for the value again, or which of several was wrong."""
        pending = visit.state.pending
        if len(pending.values) == 1:
            reading = next(iter(pending.values.values()))
            visit.emit(ev.ReadingRefused(reading=reading, why="the person denied it"))
            self._ask_missing(visit)
        else:
            visit.ask(WhichValue(), visit.words("wrong-which"))

    def _rate_with_values(self, visit: Visit, meaning: Values, utterance: Utterance) -> None:
        """Take the rate called before or after the values; the wrong one counts, and a doubtful one not at all."""
        called = [rate for rate in (meaning.before, meaning.after) if rate is not None]
        rivals = [rival for rival in utterance.rivals if isinstance(rival, Values)]
        doubtful = any((rival.before, rival.after) != (meaning.before, meaning.after) for rival in rivals)
        if called and not doubtful:
            wrong = [rate for rate in called if rate != self.rate]
            visit.emit(ev.RateCalled(rate=(wrong or called)[-1]))

    def _first_call(self, visit: Visit, values: dict[str, Called], utterance: Utterance) -> None:
        """Check called values one by one and together, then read back those that may stand."""
        records = {quantity: visit.record_of(quantity, called) for quantity, called in values.items()}
        for quantity, record in records.items():
            why = self._not_believed(visit, quantity, record)
            if why is not None:
                visit.emit(ev.ReadingRefused(reading=record, why=why))
                name, value = visit.name(quantity), spoken_value(visit, record)
                visit.ask(OnceMore(quantity=quantity), visit.words("out-of-range", what=name, value=value))
                return
        together = {**visit.state.pending.values, **records}
        doubtful = self._doubtful(visit, together, records, utterance)
        visit.emit(ev.ReadBack(values=tuple(together.values()), doubtful=doubtful))
        if not self._untrue(visit):
            spoken = ". ".join(
                sentence_case(spoken_value(visit, one)) for one in visit.state.pending.values.values()
            )
            self._read_back(visit, visit.words("taken", values=spoken))

    def _read_back(self, visit: Visit, text: str) -> None:
        visit.ask(ReadBack(quantities=tuple(visit.state.pending.values)), text)

    def _not_believed(self, visit: Visit, quantity: str, record: ev.ReadingRecord) -> str | None:
        """Say why a value is not believed; one beyond a stop limit is always believed enough to be read back."""
        ask = next((one for one in self.asks if one.quantity == quantity), None)
        if ask is None:
            return "it was not asked for"
        if record.value in {OVER_RANGE, NO_READING}:
            return self._must_be_a_number()
        value = Decimal(record.value)
        decimals = visit.catalogue.quantities[quantity].decimals if ask.decimals is None else ask.decimals
        if -int(value.as_tuple().exponent) < decimals:
            return f"the display shows {decimals} digits after the point"
        too_low = ask.low is not None and value < ask.low
        too_high = ask.high is not None and value > ask.high
        if not (too_low or too_high) or visit.beyond({quantity: record}):
            return None
        return f"below {ask.low}" if too_low else f"above {ask.high}"

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
        utterance: Utterance,
    ) -> tuple[str, ...]:
        """Return the quantities that must be called a second time, whatever is answered to the read-back."""
        doubtful = set(visit.state.pending.doubtful)
        for quantity, record in fresh.items():
            number = record.value not in {OVER_RANGE, NO_READING}
            beyond = visit.decides_a_stop(quantity, together)
            if _in_doubt(utterance, quantity) or beyond or (number and _has_twin(visit, record, utterance)):
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
                visit.emit(ev.PairDoubted(kept_at=self.at, reason=surely.reason))
            return False
        pending = visit.state.pending.values
        for quantity in untrue.quantities:
            if quantity in pending:
                visit.emit(ev.ReadingRefused(reading=pending[quantity], why=untrue.reason, pair=True))
        other = visit.words("pair-other-fuel", fuel=untrue.fits) if untrue.fits else visit.words("pair-not-true")
        visit.ask(TiedValues(quantities=untrue.quantities), other)
        return True

    def _correct(self, visit: Visit, meaning: Correction, utterance: Utterance) -> bool:
        """Replace a pending value by the corrected one and read it back."""
        quantity, called = meaning.values[0]
        pending = visit.state.pending.values
        if quantity is None:
            fitting = [
                one
                for one in pending
                if isinstance(called, Decimal)
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
            if one != quantity or _in_doubt(utterance, one) or _has_twin(visit, now, utterance)
        )
        visit.emit(ev.ReadBack(values=tuple(together.values()), doubtful=doubtful))
        if not self._untrue(visit):
            value = spoken_value(visit, now)
            self._read_back(visit, visit.words("correction", what=visit.name(quantity), value=value))
        return True

    def _accept(self, visit: Visit, quantities: list[str], how: How) -> None:
        """Accept pending values."""
        taken = visit.state.sets.get(self.at, ())
        number = taken[-1].number if taken and not taken[-1].complete else len(taken) + 1
        for quantity in quantities:
            pending = visit.state.pending
            corrected = quantity in pending.corrected and how == "affirmed"
            visit.emit(
                ev.ReadingAccepted(
                    at=visit.at,
                    gate=visit.state.gate,
                    kept_at=self.at,
                    number=number,
                    reading=pending.values[quantity],
                    how="corrected" if corrected else how,
                )
            )

    def _go_on(self, visit: Visit, then: Then) -> None:
        """Go on after values were accepted: stop limits, a second call, what is missing, then `then`."""
        taken = visit.state.sets.get(self.at, ())
        if taken and not taken[-1].complete and visit.stop_if_beyond(taken[-1].values):
            return
        if visit.state.pending.values:
            quantity, first = next(iter(visit.state.pending.values.items()))
            number = first.value not in {OVER_RANGE, NO_READING}
            if number and visit.catalogue.numbers.ask_apart(Decimal(first.value)):
                self._ask_digits(visit, quantity)
            else:
                text = visit.words("once-more", what=visit.name(quantity))
                visit.ask(OnceMore(quantity=quantity), text)
            return
        if not self._ask_missing(visit):
            then(visit)

    def _ask_missing(self, visit: Visit) -> bool:
        """Ask for the first value that this set still lacks; False when it is whole."""
        taken = visit.state.sets.get(self.at, ())
        have = set(taken[-1].values) if taken and not taken[-1].complete else set()
        have |= set(visit.state.pending.values)
        missing = [ask.quantity for ask in self.asks if ask.quantity not in have]
        if not missing:
            return False
        visit.ask(WhichValue(quantity=missing[0]), visit.words("ask-for", what=visit.name(missing[0])))
        return True

    def _ask_digits(self, visit: Visit, quantity: str) -> None:
        """Ask for a value digit by digit; when even that stays doubtful, point to the keys."""
        question = Digits(quantity=quantity)
        attempt = visit.state.attempt + 1 if visit.state.question == question else 1
        saying = "digit-by-digit" if attempt <= MOST_DIGITS_ASKED else "keys"
        visit.ask(question, visit.words(saying, what=visit.name(quantity)), attempt=attempt)

    def _second_call(self, visit: Visit, meaning: Values, utterance: Utterance, then: Then) -> None:
        """Compare an independent second call with the first: alike is accepted, different is read back anew.

        A second call in doubt itself, or by a word with a twin, proves nothing and is asked for digit by digit.
        """
        quantity, called = meaning.values[0]
        again = visit.record_of(quantity, called)
        if _has_twin(visit, again, utterance) or _in_doubt(utterance, quantity):
            self._ask_digits(visit, quantity)
            return
        first = visit.state.pending.values.get(quantity)
        if first is not None and _alike(visit, first, again):
            rest = [record for record in visit.state.pending.values.values() if record.quantity != quantity]
            visit.emit(ev.ReadBack(values=(again, *rest), doubtful=visit.state.pending.doubtful))
            if visit.state.pair_refused:
                self._untrue(visit)  # a doubt stands as before; nothing is refused a second time
            self._accept(visit, [quantity], "twice")
            self._go_on(visit, then)
            return
        why = self._not_believed(visit, quantity, again)
        if why is not None:
            visit.emit(ev.ReadingRefused(reading=again, why=why))
            self._ask_digits(visit, quantity)
            return
        together = {**visit.state.pending.values, quantity: again}
        doubtful = tuple(dict.fromkeys((*visit.state.pending.doubtful, quantity)))
        visit.emit(ev.ReadBack(values=tuple(together.values()), doubtful=doubtful))
        if not self._untrue(visit):
            text = visit.words("correction", what=visit.name(quantity), value=spoken_value(visit, again))
            self._read_back(visit, visit.words("differs", what=text) if first is not None else text)

    def silence(self, visit: Visit, then: Then) -> None:
        """Accept only what others have confirmed and no verdict hangs on; ask for everything else once more."""
        confirmed = visit.confirmed_by_others()
        if confirmed:
            self._accept(visit, list(confirmed), "silence")
        self._go_on(visit, then)


def _in_doubt(utterance: Utterance, quantity: str) -> bool:
    """Say whether another value is near, or other speech likelier: a clear "confirmed" is then not enough.

    A slight doubt (no other value near) is settled by the read-back, but never by silence.
    """
    return bool(utterance.doubt) and not utterance.slight and utterance.in_doubt(quantity)


def _has_twin(visit: Visit, record: ev.ReadingRecord, utterance: Utterance) -> bool:
    """Say whether a number was called by a word with a twin that sounds alike (fifteen, fifty)."""
    numbers = visit.catalogue.numbers
    return (
        record.value not in {OVER_RANGE, NO_READING}
        and numbers.ask_apart(Decimal(record.value))
        and not numbers.twin_words.isdisjoint(utterance.words)
    )


def _alike(visit: Visit, first: ev.ReadingRecord, again: ev.ReadingRecord) -> bool:
    """Say whether two calls can be the same display seconds apart."""
    if first.value == again.value or NO_READING in {first.value, again.value}:
        return first.value == again.value
    if first.resolution != again.resolution:
        return False
    room = visit.same_display(first.quantity, Decimal(first.resolution))
    return abs(Decimal(first.value) - Decimal(again.value)) <= room
