"""The demo's invented technician: hears what the tool asks, looks at the invented instruments, and answers.

It knows nothing of the program's inside but what a person knows: the question at hand, what the tool just
said, and what is in front of it. Three slips are written in: a value called wrong and corrected in one
breath, a rate held too briefly so that readings still move, and an adjuster that needs turning.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.demo.boiler import InventedBoiler
from handsfree.procedure.model import ChoiceGate, ReadingsGate, StopGate, TimedGate
from handsfree.procedure.phrases import asks_of
from handsfree.procedure.procedure import STOPPED
from handsfree.session import events as ev
from handsfree.session.agreeing import agreeing
from handsfree.session.plan import Plan
from handsfree.session.state import State
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
    advised: ev.Advised | None = None
    cold: bool = True
    chosen: dict[str, str] = field(default_factory=dict)
    """Answers to choices by gate, where the first that leads on is not wanted."""

    def notice(self, events: tuple[ev.Record, ...], seconds: float) -> None:
        """Follow what happens: advice given, turns made, the rate held, the burner lit."""
        for event in events:
            match event:
                case ev.ReadBack(values=values):
                    self.slipped |= {
                        gate for gate, (quantity, _) in SLIPS.items() if self._slip_in(values, quantity)
                    }
                case ev.Advised():
                    self.advised = event
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
            one.quantity == quantity and one.value == f"{meant + SLIP:f}" for one in values
        )

    def _hold(self, rate: str, seconds: float) -> None:
        self.rate = rate
        self.boiler.changes(seconds, 0.5, "burner")

    def answer(self, state: State) -> str:
        """Return the words said to the question at hand."""
        question, gate = state.question, self.plan.gate(state.gate).gate
        words = self.plan.catalogue
        match question.kind:
            case "gate" if isinstance(gate, ChoiceGate):
                return self._choice(state, gate)
            case "gate" if isinstance(gate, ReadingsGate | TimedGate):
                return self._set(state, gate)
            case "read-back":
                return self._checked(state)
            case "once-more" | "digits" | "which-value" | "pair":
                asked = [ask.quantity for ask in asks_of(gate)]
                wanted = ["co2", "o2"] if question.kind == "pair" else [question.about or asked[0]]
                return " ".join(self.plan.numbers.digits(self._look(quantity, state)) for quantity in wanted)
            case "stopped":
                return f"{words.answers['cleared'][0]} {words.glance.cleared[0]}"
            case "rate" | "recheck-rate":
                return words.rates[self.rate][0]
            case _:
                return agreeing(self.plan, state, self.advised)

    def seconds_before(self, state: State) -> float:
        """Return how long the work takes before the answer comes: the meter's time before the last mark."""
        if state.question.kind != "mark-last":
            return 0.0
        volume = float(state.sets[self._kept_at(state)][-1].values["gas_volume_metric"].value)
        sheets = combustion(self.plan.sheets)
        meter, rated = sheets.job.meter, sheets.fuel.input_kilowatt["maximum"]
        assert meter is not None
        due = volume * float(meter.heating_value) * 1000 / float(rated) * 1.02
        return max(0.0, due - (state.now - state.marks[-1]) / 1000 - WORD_COMES_AFTER_S)

    def _kept_at(self, state: State) -> str:
        gate = self.plan.gate(state.gate).gate
        assert isinstance(gate, ReadingsGate | TimedGate)
        return gate.at

    def _choice(self, state: State, gate: ChoiceGate) -> str:
        if state.gate in self.chosen:
            return gate.answers[self.chosen[state.gate]].heard[0]
        for name, answer in gate.answers.items():
            to = self.plan.gate(state.gate).ways[name]
            if to != STOPPED and not isinstance(self.plan.gate(to).gate, StopGate):
                return answer.heard[0]
        raise AssertionError(f"{state.gate} has no way on")

    def _look(self, quantity: str, state: State) -> Decimal:
        self.called[quantity] = self.boiler.reads(quantity, self.rate, state.now / 1000)
        return self.called[quantity]

    def _set(self, state: State, gate: ReadingsGate | TimedGate) -> str:
        spoken = []
        number = len(state.readings(gate.at)) + 1
        for ask in asks_of(gate):
            value = self._look(ask.quantity, state)
            if SLIPS.get(state.gate) == (ask.quantity, number) and state.gate not in self.slipped:
                value += SLIP
            spoken.append(self.plan.numbers.digits(value))
        if isinstance(gate, ReadingsGate) and gate.rate is not None:
            spoken.append(self.plan.catalogue.rates[self.rate][0])
        return " ".join(spoken)

    def _checked(self, state: State) -> str:
        """Compare the read-back with what was meant; correct the first that differs in one breath."""
        for quantity, record in state.pending.values.items():
            meant = self.called.get(quantity)
            if meant is not None and f"{meant:f}" != record.value:
                name = self.plan.catalogue.quantities[quantity].heard[0]
                return f"{self.plan.catalogue.answers['deny'][0]} {name} {self.plan.numbers.digits(meant)}"
        return self.plan.catalogue.answers["affirm"][0]
