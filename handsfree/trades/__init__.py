"""The trades: all that a kind of work brings with it, so that nothing outside this folder names one.

A trade is a folder of this package, or an author's own: `trades/NAME/` beside the procedure that names it, or
beside the folder of that procedure. `handsfree template --new-trade NAME` writes one to start from (`_new/`). The
names of those that ship are taken. It needs no Python, and Python in an author's folder is never run: these files
are enough.

    trade.yaml        what it is called, whether anything may fire, which quantities count at any moment
    quantities.yaml   what can be read: UCUM unit, decimals, what is sayable, what is usual, what is asked about
    relations.yaml    how readings stand to each other when nothing is wrong; it may be left out
    english.yaml      its words in English: hazards, how quantities are said and heard, limits' sentences, and
                      whatever else it says in another way than the core (`handsfree/lexicon/english.yaml`)
    sheets.yaml       the facts of its job sheet and of its appliance sheet, beside those of every trade
    example/          an invented job sheet, `jobsheet.yaml`, with its appliance sheet, for rehearsals
    template.yaml     a small procedure to start from; NAME stands for its name

Where it has them: `calculations.yaml`, formulas that verdicts may name, with `saturation.yaml`, the tables they
read; `checklist.yaml` and `report.yaml`, what a supervisor verifies and how a visit is told (`FORMS.md`).

The files of an author's own go with whatever names the trade: into a bundle and into the record of a visit, as
`trades.NAME.FILE` beside the procedure, and the digest of the procedure covers them. Template and example stay
behind.

`files.py` describes the first two, `fields.py` the sheets; `handsfree/procedure/trades.py` reads them. Python
stands in a trade's folder only for arithmetic that is more than a formula, and for sheets of more than plain facts
(`combustion/sheets.py`, which `typed.py` registers).

**Words.** `english.yaml` of a trade is laid over the core's. Mappings are put together, key by key; anything else
replaces what the core has there. A general hazard (`stop-work`, `feel-ill`) is heard by the core's phrases, and
each trade says what is then to be done: its `script`, with its `source`. A trade adds hazards of its own, each
with `heard`, `script`, `source` and `re_entry`, the steps that must pass before the work goes on. Another language
is one file beside the procedure with all of these words (`german.yaml`), or two (`german.yaml` with the core's and
`german-TRADE.yaml` with the trade's).

**Sheets.** A fact is `{type: text | decimal | day | choice | band, says: ..., unit: UCUM, required: true}`. A
`band` holds `low`, `high` and the `page` of the maker's manual. Every job sheet has job, site, technician,
appliance, serial, instruments and altitude; every appliance sheet has appliance, manual, the wait after a change
and the time a rate is held (`sheets.py`).

A procedure, a job sheet and an appliance sheet say `trade: NAME`. Those that say nothing were written before there
were others: they belong to `DEFAULT_TRADE`.
"""

from typing import Final

DEFAULT_TRADE: Final = "combustion"
"""The trade of files that name none."""
