"""All check values in one list, for the tests and for the mutation run."""

from __future__ import annotations

import values_carbon_monoxide
import values_flue_gas
import values_heat
import values_limits
import values_pairs
import values_settling
import values_site
import values_tables
import values_uncertainty

CHECKS = [
    check
    for group in (
        values_flue_gas,
        values_carbon_monoxide,
        values_heat,
        values_site,
        values_tables,
        values_uncertainty,
        values_settling,
        values_pairs,
        values_limits,
    )
    for check in group.CHECKS
]
