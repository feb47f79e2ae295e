"""Hearing one visit again with all that is installed here: the work of a process with limits (`Sandbox`)."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.procedure.languages import english
from handsfree.rehearing.again import FurtherScorer, rehear
from handsfree.rehearing.findings import HeardAgain
from handsfree.rehearing.kept import keep_result, kept_result
from handsfree.rehearing.own_voice import RenderedHere
from handsfree.shipped import model_folder

BEHIND_ALL_ELSE = 15
"""How far the process steps back (its niceness): pages and checks come first."""


@dataclass(frozen=True)
class WithWhat:
    """By what visits are heard: the model's folder (ours when None), and whether a further recogniser is asked."""

    model: Path | None = None
    further: bool = True


def hear_again(folder: Path, by: WithWhat | None = None) -> HeardAgain:
    """Return a visit's kept result, or hear it again and keep what is found. Raises Problem as `rehear` does."""
    by = by or WithWhat()
    known = kept_result(folder, by.model)
    if known is not None:
        return known
    _step_back()
    voice = _voice()
    found = rehear(
        folder,
        by.model or model_folder(),
        general=_further() if by.further else None,
        render=voice if voice.works else None,
    )
    return keep_result(folder, found, by.model)


@cache
def _step_back() -> None:
    os.nice(BEHIND_ALL_ELSE)


@cache
def _voice() -> RenderedHere:
    return RenderedHere()


@cache
def _further() -> FurtherScorer | None:
    plan = GeneralPlan.of(english())
    if plan is None:
        return None
    scorer = GeneralMember(replace(plan, threads=1)).wait()
    scorer.patient()
    return scorer
