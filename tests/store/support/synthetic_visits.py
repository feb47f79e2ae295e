"""Invented visits as an examination leaves them: two dozen readings, forty gates, some words misheard, some stops.

Every twentieth lies in two folders. Nothing here is of a real appliance or person.
"""

import random
from collections.abc import Iterator
from datetime import date, timedelta

from handsfree.store.kept import Examined, NotedVisit


def invented(count: int, gates: int = 40, days: int = 900) -> Iterator[tuple[NotedVisit, Examined]]:
    """Yield visits of some days, each with what a scan notes and what an examination finds of it."""
    dice = random.Random(count)
    for number in range(count):
        key, ended = f"{number:016}", dice.random()
        office = f"office {number % 4}"
        facts = {
            "seal": "closed", "identity": f"{number - (number % 20 == 19)}", "job": f"J{number}",
            "technician": f"Technician {number % 40}", "serial": f"S{number % (count // 4 + 1)}",
            "appliance": "L24", "instrument": "analyser", "instrument_serial": f"F{number % 60}",
            "device": f"{number % 50:064}", "opened_at": f"{number}",
            "day": (date(2024, 1, 1) + timedelta(days=number * days // count)).isoformat(),
            "outcome": "finished" if ended < 0.9 else "made-safe" if ended < 0.97 else "incomplete",
            "fails": int(dice.random() < 0.1), "minutes": round(dice.uniform(20, 90), 1),
            "turns": dice.randrange(6), "calibrated_until": f"2027-{number % 12 + 1:02}-01",
            "procedure": "two-rate-combustion", "version": f"v{number % 3}",
        }  # fmt: skip
        readings = [
            {"rate": rate, "at_time": when, "quantity": quantity, "value": round(dice.gauss(mean, 0.2), 2)}
            for rate in ("maximum", "minimum")
            for when in ("found", "left")
            for quantity, mean in (
                ("co2", 9.2), ("o2", 4.5), ("pair_residual", 0.0), ("air_flow", 12.0), ("subcooling", 5.0),
                ("outlet_temperature", 45.0),
            )
        ]  # fmt: skip
        rows = {
            "reading": readings,
            "gate": [
                {"gate": f"gate-{gate}", "title": f"Gate {gate}", "seconds": round(dice.uniform(5, 90), 1)}
                for gate in range(gates)
            ],
            "misheard": [{"heard": f"word {dice.randrange(80)}", "meant": "", "why": "unknown"} for _ in range(3)],
            "stop": [{"kind": "stopped", "why": "called", "gate": "G", "resumed": ""}] if ended >= 0.9 else [],
            "concern": [{"place": 0, "kind": "Open", "says": "x", "weight": 56, "about": "right", "seq": 1}],
        }
        yield (
            NotedVisit(key, f"{office}/{key}", "", {"office": office, "day": str(facts["day"])}),
            Examined(facts, rows),
        )
