"""Signatures drawn on the phone: taken where the author wants them, never while firing or with a hazard open."""

from __future__ import annotations

from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.session.draft import Draft
from handsfree.session.plan import Plan


def may_sign(plan: Plan, state: State) -> tuple[inp.SigningRole, ...]:
    """Return who may sign now and has not yet: at a gate that says so, at rest, with nothing stopped."""
    if state.status != "running" or state.held_since is not None or state.alarmed:
        return ()
    gate = plan.gate(state.gate).gate
    return () if gate.firing else tuple(one for one in gate.effects.signed_by if one not in state.signed)


def signed(draft: Draft, event: inp.SignatureDrawn, before: State) -> None:
    """Say that a signature was taken, or that it was not the moment for one."""
    whose = event.signature.whose
    if whose in may_sign(draft.plan, before):
        draft.say("signature-taken", who=draft.words(f"signs-{whose}"))
    elif draft.state.status == "running":
        draft.say("signature-later")
