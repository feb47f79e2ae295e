"""The trade of combustion: burners and boilers are set up and checked by what their flue gas shows."""

from __future__ import annotations

from decimal import Decimal

from handsfree.trades.combustion.adjusting import ADJUSTING
from handsfree.trades.combustion.calculations import (
    AIR_DUCT_CLEAR,
    AMBIENT_CLEAR,
    COMBUSTION_AT_RATE,
    PASSES_AGREE,
    RATES_COMPARED,
    instrument_uncertainty,
)
from handsfree.trades.combustion.figures import flue_figures
from handsfree.trades.combustion.gas_supply import GAS_INPUT, SUPPLY_PRESSURE
from handsfree.trades.combustion.inventing import INVENTING
from handsfree.trades.combustion.plausibility import PLAUSIBILITY
from handsfree.trades.combustion.stops import STOPS
from handsfree.trades.general import GENERAL
from handsfree.trades.trade import AskedApart, Running, Tolerance, Trade

COMBUSTION = Trade(
    name="combustion",
    calculations={
        **GENERAL,
        "ambient-clear": AMBIENT_CLEAR,
        "combustion-at-rate": COMBUSTION_AT_RATE,
        "rates-compared": RATES_COMPARED,
        "passes-agree": PASSES_AGREE,
        "supply-pressure": SUPPLY_PRESSURE,
        "gas-input": GAS_INPUT,
        "air-duct-clear": AIR_DUCT_CLEAR,
    },
    stops=STOPS,
    plausibility=PLAUSIBILITY,
    adjusting=ADJUSTING,
    inventing=INVENTING,
    instrument_uncertainty=instrument_uncertainty,
    figures=flue_figures,
    # Tolerances and flicker: common practice, no source.
    tolerances={
        "co2": Tolerance(Decimal("0.15")),
        "o2": Tolerance(Decimal("0.20")),
        "co": Tolerance(Decimal(6), Decimal("0.10")),
        "flue_temperature": Tolerance(Decimal(4)),
        "air_temperature": Tolerance(Decimal(2)),
        "flow_temperature": Tolerance(Decimal(4)),
        "return_temperature": Tolerance(Decimal(4)),
        "working_pressure": Tolerance(Decimal("0.5")),
    },
    flicker={"co": Decimal(4), "ambient_co": Decimal(4)},
    other_units={"gas_volume_metric": "gas_volume_imperial"},
    asked_apart=AskedApart(affirmed="co", denied="co2", saying="monoxide"),
    running=Running(asked_again="burner", goes_out="burner-out"),
)
