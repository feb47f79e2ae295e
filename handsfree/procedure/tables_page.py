"""The page's part on tables: how limits are read from one, what is refused, and what is proven of its rows."""

from __future__ import annotations

from collections.abc import Iterator

EXAMPLE_OF_A_TABLE = """\
# least-flow.table.yaml
handsfree: 2
table: least-flow
says: Least air flow of a terminal, by dwelling, room and height of the site.
source: invented for this page
unit: L/s
by: {job.dwelling: listed, room: listed, job.altitude_metre: interpolated}
others: no-limit                       # a dwelling that the sheet does not give
rows:
  - {when: {job.dwelling: new, room: kitchen, job.altitude_metre: 0}, low: 13}
  - {when: {job.dwelling: new, room: kitchen, job.altitude_metre: 1000}, low: 15}
  - {when: {job.dwelling: existing, room: kitchen, job.altitude_metre: 0}, low: 11}
  - {when: {job.dwelling: existing, room: kitchen, job.altitude_metre: 1000}, low: 12}
"""
"""A table that shows each way to a row; a test loads it."""

EXAMPLE_OF_READING_IT = """\
  - id: air-flow-verdict
    kind: verdict
    title: Air flow against the table
    source: invented for this page
    calculation: reading-in-limits
    using: {readings: air-flow}
    limits: {quantity: air_flow, table: least-flow, at: {room: kitchen}}
    branches: {within: finish, outside: stop-flow, too-close: stop-flow, missing: stop-flow, no-limit: stop-flow}
"""
"""A verdict that reads the table; a test loads it."""


def tables_lines() -> Iterator[str]:
    """Yield the part as lines of Markdown."""
    yield "## Limits from a table"
    yield ""
    yield (
        "Limits that hang on facts of the sheets, or that several verdicts share, stand in a table: one file, "
        "`NAME.table.yaml`, beside the procedures that read it. It goes with the procedure into its version, its "
        "bundle and the sources kept of a visit."
    )
    yield ""
    yield from (
        "```yaml",
        EXAMPLE_OF_A_TABLE.rstrip(),
        "```",
        "",
        "```yaml",
        EXAMPLE_OF_READING_IT.rstrip(),
        "```",
    )
    yield ""
    yield (
        "At 500 m in a new dwelling the least flow is 14.0. Nothing is guessed: above 1,000 m, or where the sheet "
        "does not give the dwelling, the verdict is `no-limit`. So a table that is by a number, or has `others`, "
        "needs the branch `no-limit`; any other table must not have it."
    )
    yield ""
    yield (
        "A lacking row, one that stands twice, and a value that no sheet can have are refused at their line. "
        "`handsfree check` proves each row: that some visit reads it, that values which can be called meet and "
        "miss it, and that the table is in the unit of what is judged (it converts nothing). What chooses a row "
        "counts among what decides, so the proofs go through each combination. `handsfree compare` weighs each "
        "row by itself, and `handsfree test --mutants` plants faults in rows."
    )
    yield ""
    yield (
        "A table holds limits of a regulation, or of one model. Data that the maker gives for each model belong "
        "on the appliance sheet. A table is by no reading: a limit that follows from one is a calculation of the "
        "trade."
    )
    yield ""


__all__ = ["EXAMPLE_OF_A_TABLE", "EXAMPLE_OF_READING_IT", "tables_lines"]
