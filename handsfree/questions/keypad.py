"""What the keys give at a question: enter, the left arrow, numbers to enter, and answers to choose."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from handsfree.lexicon.catalogue import Catalogue, Quantity
from handsfree.questions.ask import Ask


@dataclass(frozen=True)
class NumberField:
    """A number to be entered by digits alone: the point stands where the instrument shows it."""

    quantity: str
    name: str
    unit: str
    decimals: int
    signed: bool


@dataclass(frozen=True)
class Offer:
    """Something that is chosen with the arrows: words to send, an entry for the field, or a field to open."""

    label: str
    text: str = ""
    entry: str = ""
    """"over range", "no reading" or "-", put into the field at hand."""
    opens: NumberField | None = None
    """A field whose value is sent after `text`."""


@dataclass(frozen=True)
class Keypad:
    """What the keys give at a question."""

    plain: str = ""
    """What enter alone says; empty when it says nothing."""
    no: str = ""
    """What the left arrow says; empty when it says nothing."""
    fields: tuple[NumberField, ...] = ()
    offers: tuple[Offer, ...] = ()
    """The answers to choose among, those above all others first."""
    last: tuple[Offer, ...] = ()
    """Answers that stand below all others."""
    patient: bool = False
    """Enter ends an alteration, the visit or a stop: it is never taken from the key press before."""
    digits: str = ""
    """The name of a number that is entered as it stands, digit by digit, and is no value; empty for none."""
    at_once: bool = False
    """Enter counts however soon it comes: what it marks is timed."""


def offered(texts: Iterable[str]) -> tuple[Offer, ...]:
    """Return phrases as answers to choose among."""
    return tuple(Offer(text, text) for text in texts)


def shown_unit(quantity: Quantity, shows: Mapping[str, str]) -> str:
    """Return the unit that the instrument shows a quantity in: another one only where the quantity has it."""
    unit = shows.get(quantity.unit, quantity.unit)
    return unit if unit in quantity.also else quantity.unit


def number_field(catalogue: Catalogue, ask: Ask, shows: Mapping[str, str]) -> NumberField:
    """Return the field of a quantity, with its name, unit and the digits after the point."""
    known = catalogue.quantities[ask.quantity]
    unit = shown_unit(known, shows)
    own = known.decimals if ask.decimals is None else ask.decimals
    places = own if unit == known.unit else known.also[unit]
    return NumberField(ask.quantity, known.said, catalogue.units[unit].said, places, known.low < 0)


def numbers(
    catalogue: Catalogue, asks: Iterable[Ask], shows: Mapping[str, str], *, specials: bool = True
) -> Keypad:
    """Return fields for the values, with what a display may show in place of a number."""
    fields = tuple(number_field(catalogue, ask, shows) for ask in asks)
    offers: tuple[Offer, ...] = ()
    if fields and specials:
        words = catalogue.answers
        offers = tuple(
            Offer(words[name][0], entry=name.replace("-", " ")) for name in ("over-range", "no-reading")
        )
    if any(field.signed for field in fields):
        offers = (*offers, Offer(catalogue.show("minus"), entry="-"))
    return Keypad(fields=fields, offers=offers)


def yes_or_no(catalogue: Catalogue, *, patient: bool = False, offers: tuple[Offer, ...] = ()) -> Keypad:
    """Return the keys of a read-back: enter confirms, the left arrow denies."""
    yes, no = catalogue.answers["affirm"][0], catalogue.answers["deny"][0]
    return Keypad(plain=yes, no=no, offers=(Offer(no, no), *offers), patient=patient)


def correction(
    catalogue: Catalogue, asks: Iterable[Ask], quantity: str, shows: Mapping[str, str], before: str = ""
) -> Offer:
    """Return the offer that opens a field for another value of a quantity; `before` stands before its name."""
    name = max(catalogue.quantities[quantity].heard, key=lambda said: len(said.split()))
    asked = next((ask for ask in asks if ask.quantity == quantity), Ask(quantity=quantity))
    opened = number_field(catalogue, asked, shows)
    return Offer(catalogue.show("other-value", what=opened.name), f"{before} {name}".strip(), opens=opened)
