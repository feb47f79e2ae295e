"""A new procedure to start from: small, whole and proven, with a word on each kind of gate that it uses."""

from __future__ import annotations

import re

from handsfree.problem import Problem

_TEXT = """\
# Begin by changing the purpose, the things and the gates; `handsfree check NAME.yaml` says what is still missing.
handsfree: 1
procedure: NAME
title: Water pressure put right
purpose: The water pressure of a closed heating system is read, and topped up when it is low.
cautions:
  - Hot water. Let it cool first.
jobsheet: [serial]

# What the work alters, with the words for both states as the person calls them.
things:
  filling-loop: {said: Filling loop, altered: connected, restored: removed}

gates:
  - id: at-rest
    kind: confirm                 # something the person does and then says so
    title: Boiler at rest
    source: common practice, no source
    prompt: Switch the boiler off.
    done: [at rest]

  - id: pressure-found
    kind: readings                # values called out
    title: Pressure as found
    source: common practice, no source
    prompt: "Water pressure?"
    ask: [{quantity: water_pressure}]
    at: pressure-found

  - id: gauge
    kind: choice                  # a question with a few answers
    title: Pressure on the gauge
    source: the maker's manual in hand
    prompt: "Gauge: in the green, or low?"
    answers:
      in-the-green: {heard: [in the green], then: put-back}
      low: {heard: [low pressure], then: loop-connected}
      relief-open: {heard: [relief dripping], then: stop-relief}
    not_done: stop-relief

  - id: loop-connected
    kind: confirm
    title: Filling loop connected
    source: common practice, no source
    prompt: Connect the filling loop and top up.
    done: [connected]
    alters: [filling-loop]        # altered once this is done
    not_done: put-back
    at_most: 3                    # a loop needs a bound, and a way out when it is used up
    exhausted: stop-relief
    then: pressure-found

  - id: put-back
    kind: restore                 # asks for each thing that is still altered
    title: Everything put back
    source: common practice, no source
    things: [filling-loop]

  - id: finish
    kind: finish
    title: Finish
    source: common practice, no source

  - id: stop-relief
    kind: stop                    # says first what to do, and the visit stops
    title: Pressure not put right
    source: common practice, no source
    script: Leave it off. Find the leak or the fault.
"""

_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def template(name: str) -> str:
    """Return the text of a new procedure; raise Problem when the name is not in kebab case."""
    if not _NAME.fullmatch(name) or len(name) > 60:
        raise Problem(f"{name!r} cannot name a procedure", remedy="use lower-case words joined by hyphens")
    return _TEXT.replace("NAME", name)
