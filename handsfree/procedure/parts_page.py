"""The page's part on parts: how a file is put into another, once or for each of several items."""

from __future__ import annotations

from collections.abc import Iterator

EXAMPLE_OF_A_PART = """\
# radiator.yaml
handsfree: 2
procedure: radiator
title: One radiator bled
purpose: Air is let out of one radiator.
parameters: {item: hall}               # the name of the item, or this where the part is run by itself
exits: [bled, dry]                     # the ways out; who includes it says where they lead
things:
  vent: {said: Vent, altered: open, restored: closed}
gates:
  - id: opened
    kind: confirm
    title: Vent of the $item radiator
    source: common practice, no source
    prompt: Radiator in the $item. Open the vent.
    done: [vent open]
    alters: [vent]
    not_done: exit dry
  - id: looked
    kind: choice
    title: Water without air
    source: common practice, no source
    prompt: "Water, or nothing?"
    answers:
      water: {heard: [water comes], then: closed}
      nothing: {heard: [nothing comes], then: closed-dry}
    not_done: closed-dry
  - {id: closed, kind: restore, title: Vent closed, source: a manual, things: [vent], then: exit bled}
  - {id: closed-dry, kind: restore, title: Vent closed, source: a manual, things: [vent], then: exit dry}
"""
"""A part with two ways out; a test proves it, and what includes it."""

EXAMPLE_OF_INCLUDING_IT = """\
  - id: radiators
    kind: include
    file: radiator.yaml
    each: [hall, kitchen, bathroom]      # without it the part is gone through once
    exits: {bled: next item, dry: stop-dry}
"""
"""Gates that include the part; a test proves them."""


def parts_lines() -> Iterator[str]:
    """Yield the part as lines of Markdown."""
    yield from ("## Parts", "")
    yield (
        "What several procedures share, or what is done at each of several items, is a part: a procedure of its "
        "own, with `exits` in place of a finish. Run by itself it is whole: each exit puts everything back and "
        "finishes. So it is checked, rehearsed and told stories of by itself, too."
    )
    for example in (EXAMPLE_OF_A_PART, EXAMPLE_OF_INCLUDING_IT):
        yield from ("", "```yaml", example.rstrip(), "```")
    yield ""
    yield (
        "The gates are then `radiators/hall/opened`, `radiators/hall/looked` and so on: stories and `proves` name "
        "them so, and `radiators/*/looked` in `proves` is a claim for each item. `next item` leads to the next "
        "one, and after the last to the gate below. What is wrong in a part is told once, at its line there."
    )
    yield ""


__all__ = ["EXAMPLE_OF_A_PART", "EXAMPLE_OF_INCLUDING_IT", "parts_lines"]
