"""Formulas that authors write in YAML: read, checked by units, and worked out in exact decimals.

A formula is text such as `suction_line_temperature - dew(refrigerant, absolute(suction_pressure, atmosphere))`.
It is parsed by `expression`, checked when its file is loaded by `kinds` and `kind_check`, and worked out by
`evaluation`. Nothing of it is ever run as code. This package knows no trade and no visit.
"""
