"""The page's part on conditions: how they read, what is proven of them, and the facts that may decide."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.procedure.branching import MOST_COMBINATIONS, facts_with_choices
from handsfree.procedure.trades import trade_data, trades_in_order

EXAMPLE_OF_CONDITIONS = """\
  - id: store
    kind: confirm
    title: Store looked at
    source: common practice, no source
    when: {appliance.store: stored}             # else it is passed over, and the next gate is come to
    prompt: Look at the store.
    done: [looked]

  - id: valve
    kind: choice
    title: Mixing valve
    source: common practice, no source
    when: {job.people_at_risk: "yes"}
    otherwise: told                             # a choice says where it leads when it is not asked
    prompt: "Valve: still shut, or left open?"
    answers:
      shut: {heard: [still shut], then: told}
      open: {heard: [left open], then: valve-shut}
    not_done: valve-shut

  - id: valve-shut
    kind: confirm
    title: Mixing valve shut
    source: common practice, no source
    when: {valve: [open, not done]}             # an earlier answer: any one of these
    prompt: Shut the valve.
    done: [now shut]
"""
"""Gates of plumbing that show each sort of condition; a test loads them."""


def conditions_lines() -> Iterator[str]:
    """Yield the part as lines of Markdown."""
    yield "## Conditions"
    yield ""
    yield (
        "`when`, at a gate or an included part, names what must hold for it to be asked. What is not asked is "
        "come to and passed over. The record shows that, and the papers say why: "
        "`not asked, since the appliance sheet says store: instantaneous`. "
        "What `proves` names and no gate can show with these sheets is not lacking."
    )
    yield ""
    yield from ("```yaml", EXAMPLE_OF_CONDITIONS.rstrip(), "```", "")
    yield (
        "Only declared values decide; another name or value is refused at its place. The proofs go through every "
        f"combination of what decides in a file, {MOST_COMBINATIONS:,} at most. So what is altered only under a "
        "condition may be put back under the same one, and a need counts only where its gate is asked."
    )
    yield ""
    yield "These facts may decide, in conditions and in `kind: branch`:"
    yield ""
    yield from ("| trade | fact | values |", "|---|---|---|")
    for name in trades_in_order():
        for fact, values in facts_with_choices(trade_data(name).sheets).items():
            yield f"| {name} | `{fact}` | {', '.join(f'`{value}`' for value in values)} |"
    yield ""
