"""The shape of formulas and tables in YAML.

    calculations:
      air-pressure:
        says: The pressure of the air on site.
        inputs:
          altitude: {fact: job.altitude_metre, unit: m}            # a fact of a sheet
          sea_level: {value: 1013.25, unit: mbar, is: absolute, uncertainty: 10, source: ISO 2533}
        ...
      superheat:
        says: How far the vapour is above the temperature at which the last drop boils.
        inputs:
          line: {quantity: suction_line_temperature}               # a reading; its unit is the quantity's
          pressure: {quantity: suction_pressure, is: gauge, accuracy: job.gauge_accuracy}
          air: {calculation: air-pressure}                         # a calculation above, put in whole
          refrigerant: {table: saturation, fact: appliance.refrigerant}
        unit: K
        value: line - dew(refrigerant, absolute(pressure, air))
        decimals: 1                                                # half to even
        source: definition
        band: appliance.superheat                                  # what the result is judged by, if anything
    tables:
      saturation:
        says: Pressures at which a refrigerant begins and ends to boil.
        argument: {name: temperature, unit: Cel, says: temperature of}
        columns:
          - {name: bubble, unit: bar, is: absolute, says: bubble pressure of}
          - {name: dew, unit: bar, is: absolute, says: dew pressure of}
        tables:
          R32: {says: ..., source: ..., uncertainty: 0.03, rows: [[-40, 1.7741, 1.7741], ...]}

`is` says amount, point, absolute or gauge where the unit does not. A temperature in Cel or [degF] is a point,
one in K a difference; a pressure is a difference unless it is called gauge or absolute.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator

from handsfree.formulas.kinds import Scale


def _exact(value: object) -> object:
    return Decimal(value) if type(value) is int else value


Name_ = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]
CalculationName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
FactPath = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*)+$")]
Text = Annotated[str, StringConstraints(min_length=1, strict=True)]
Exact = Annotated[Decimal, BeforeValidator(_exact), Field(strict=True)]
NotNegative = Annotated[Exact, Field(ge=0)]


class Strict(BaseModel):
    """Nothing unknown is let through."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class WrittenInput(Strict):
    """Where one input of a calculation comes from."""

    quantity: Name_ | None = None
    fact: FactPath | None = None
    value: Exact | None = None
    table: Name_ | None = None
    calculation: CalculationName | None = None
    unit: Text | None = None
    scale: Scale | None = Field(default=None, alias="is")
    uncertainty: NotNegative = Decimal(0)
    accuracy: FactPath | None = None
    source: Text | None = None

    @model_validator(mode="after")
    def _one_origin(self) -> WrittenInput:
        given = {
            key for key in ("quantity", "fact", "value", "table", "calculation") if getattr(self, key) is not None
        }
        if given not in ({"quantity"}, {"fact"}, {"value"}, {"table", "fact"}, {"calculation"}):
            raise ValueError("say one of: quantity; fact with unit; value with unit; table with fact; calculation")
        if (given <= {"fact", "value"}) != (self.unit is not None):
            raise ValueError("a fact and a value need a unit, and nothing else has one")
        if (self.value is not None) != (self.source is not None):
            raise ValueError("a value needs a source, and nothing else has one")
        return self


class WrittenCalculation(Strict):
    """One calculation."""

    says: Text
    inputs: dict[Name_, WrittenInput]
    unit: Text
    scale: Scale | None = Field(default=None, alias="is")
    value: Text
    decimals: int = Field(ge=0, le=6, strict=True)
    source: Text
    band: FactPath | None = None


class WrittenColumn(Strict):
    """A column of a family of tables, or its argument."""

    name: Name_
    unit: Text
    scale: Scale | None = Field(default=None, alias="is")
    says: Text


class WrittenTable(Strict):
    """One table: its rows hold the argument first, rising."""

    source: Text
    says: Text
    uncertainty: NotNegative
    rows: list[list[Exact]] = Field(min_length=2)


class WrittenFamily(Strict):
    """Tables of one shape."""

    says: Text
    argument: WrittenColumn
    columns: list[WrittenColumn] = Field(min_length=1)
    tables: dict[Text, WrittenTable] = Field(min_length=1)


class WrittenFile(Strict):
    """A file: calculations, tables, or both."""

    calculations: dict[CalculationName, WrittenCalculation] = Field(default_factory=dict)
    tables: dict[Name_, WrittenFamily] = Field(default_factory=dict)
