"""The demo's invented technician: hears what the tool asks, looks at the invented instruments, and answers.

It knows nothing of the program's inside but what a person knows: the question at hand, what the tool just
said, and what is in front of it. Three slips are written in: a value called wrong and corrected in one
breath, a rate held too briefly so that readings still move, and an adjuster that needs turning.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.demo.boiler import InventedBoiler
from handsfree.events import decisions as ev
from handsfree.events.state import State
from handsfree.questions.mark import Mark
from handsfree.session.plan import Plan
from handsfree.session.playing import AgreeingPlayer
from handsfree.trades.combustion.sheets import combustion

SLIPS = {"found-maximum": ("co", 2)}
"""Gate -> (quantity, set): that value is first called wrong, then corrected."""

SLIP = 60

WORD_COMES_AFTER_S = 0.75
"""The demo's clips begin with so much roar before the word."""


@dataclass
class InventedTechnician:
    """Says what a technician would say next."""

    plan: Plan
    boiler: InventedBoiler
    rate: str = "maximum"
    called: dict[str, Decimal] = field(default_factory=dict)
    slipped: set[str] = field(default_factory=set)
    """Gates whose written slip has been heard."""
    cold: bool = True
    chosen: dict[str, str] = field(default_factory=dict)
    """Answers to choices by gate, where the first that leads on is not wanted."""

    def notice(self, events: tuple[ev.Decision, ...], seconds: float) -> None:
        """Follow what happens: turns made, the rate held, the burner lit."""
        for event in events:
            match event:
                case ev.ReadBack(values=values):
                    self.slipped |= {
                        gate for gate, (quantity, _) in SLIPS.items() if self._slip_in(values, quantity)
                    }
                case ev.Turned(rate=rate, direction=direction, eighths=eighths):
                    richer = combustion(self.plan.sheets).appliance.adjusters[rate].richer  # type: ignore[index]
                    self.boiler.turn(rate, eighths if direction == richer else -eighths, seconds)
                case ev.Restored(thing="added-load") if self.cold:
                    self.boiler.changes(seconds, 3.0, "cold")  # the water cools, and the burner with it
                    self.cold = False
                case ev.Altered(thing="rate-hold", gate=gate):
                    self._hold("minimum" if "minimum" in gate else "maximum", seconds)
                case _:
                    pass

    def _slip_in(self, values: tuple[ev.ReadingRecord, ...], quantity: str) -> bool:
        meant = self.called.get(quantity)
        return meant is not None and any(
            one.quantity == quantity and one.shown[0] == f"{meant + SLIP:f}" for one in values
        )

    def _hold(self, rate: str, seconds: float) -> None:
        self.rate = rate
        self.boiler.changes(seconds, 0.5, "burner")

    def answer(self, state: State) -> str:
        """Return the words said to the question at hand."""
        return state.question.played(_Player(self.plan, state, self))

    def seconds_before(self, state: State) -> float:
        """Return how long the work takes before the answer comes: the meter's time before the last mark."""
        if state.question != Mark(which="last"):
            return 0.0
        kept_at = self.plan.gate(state.gate).gate.effects.kept_at
        volume = float(state.sets[kept_at][-1].values["gas_volume_metric"].value)
        sheets = combustion(self.plan.sheets)
        meter, rated = sheets.job.meter, sheets.fuel.input_kilowatt["maximum"]
        assert meter is not None
        due = volume * float(meter.heating_value) * 1000 / float(rated) * 1.02
        return max(0.0, due - (state.now - state.marks[-1]) / 1000 - WORD_COMES_AFTER_S)

    def choice(self, state: State) -> str:
        """Return the answer that is wanted at a gate, or the first that leads on."""
        placed = self.plan.gate(state.gate)
        if state.gate in self.chosen:
            return placed.gate.phrases[self.chosen[state.gate]][0]
        for name, phrases in placed.gate.phrases.items():
            if self.plan.gate(self.plan.led_to(state.gate, name)).gate.effects.end != "stop":
                return phrases[0]
        raise AssertionError(f"{state.gate} has no way on")

    def look(self, quantity: str, state: State) -> Decimal:
        """Return what the instrument shows, and remember that it was called."""
        self.called[quantity] = self.plan.displayed(
            quantity, self.boiler.reads(quantity, self.rate, state.now / 1000)
        )
        return self.called[quantity]

    def set_called(self, state: State) -> str:
        """Return a whole set of values, with the slip that is written in, and the rate."""
        digits, effects = self.plan.numbers.digits, self.plan.gate(state.gate).gate.effects
        spoken = []
        number = len(state.readings(effects.kept_at)) + 1
        for ask in effects.asks:
            value = self.look(ask.quantity, state)
            if SLIPS.get(state.gate) == (ask.quantity, number) and state.gate not in self.slipped:
                value += SLIP
            spoken.append(digits(value))
        if effects.rate is not None:
            spoken.append(self.plan.catalogue.rates[self.rate][0])
        return " ".join(spoken)

    def checked(self, state: State) -> str:
        """Compare the read-back with what was meant; correct the first that differs in one breath."""
        for quantity, record in state.pending.values.items():
            meant = self.called.get(quantity)
            if meant is not None and f"{meant:f}" != record.shown[0]:
                name = self.plan.catalogue.quantities[quantity].heard[0]
                return f"{self.plan.catalogue.answers['deny'][0]} {name} {self.plan.numbers.digits(meant)}"
        return self.plan.catalogue.answers["affirm"][0]


@dataclass
class _Player(AgreeingPlayer):
    """The invented technician at one question."""

    technician: InventedTechnician | None = None

    @property
    def _who(self) -> InventedTechnician:
        assert self.technician is not None
        return self.technician

    def value(self, quantity: str) -> str:
        """Return what the instrument shows."""
        return self.plan.numbers.digits(self._who.look(quantity, self.state))

    def calls(self, quantities: tuple[str, ...]) -> str:
        """Return the values of a set with its rate, or of some quantities alone."""
        return super().calls(quantities) if quantities else self._who.set_called(self.state)

    def checks_values(self) -> str:
        """Confirm or correct them."""
        return self._who.checked(self.state)

    def names_rate(self) -> str:
        """Return the rate that the boiler is held at."""
        return self.plan.catalogue.rates[self._who.rate][0]

    def chooses(self) -> str:
        """Return the answer that is wanted."""
        return self._who.choice(self.state)
