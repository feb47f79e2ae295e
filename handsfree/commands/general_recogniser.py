"""Whether a command asks the third opinion: where its weights are installed, unless that is not wanted."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from handsfree.hearing.general.weights import GeneralPlan
    from handsfree.lexicon.catalogue import Catalogue

AskGeneral = Annotated[
    bool,
    typer.Option(
        "--third-opinion/--no-third-opinion",
        help="Ask a general recogniser too, where its weights are installed: fewer questions, more memory.",
    ),
]
GeneralModel = Annotated[
    Path | None,
    typer.Option(
        "--general-model",
        metavar="FOLDER",
        help="Other weights of the general recogniser, in place of the installed ones.",
    ),
]


def plan_to_ask(catalogue: Catalogue, *, asked: bool, folder: Path | None) -> GeneralPlan | None:
    """Return by what the third opinion is asked, or None; where its weights are missing that is told once.

    Raises Problem when the folder given is not usable.
    """
    from handsfree.hearing.general.weights import HOW, GeneralPlan  # noqa: PLC0415 - --help needs it not
    from handsfree.lexicon.catalogue import ENGLISH  # noqa: PLC0415

    if not asked:
        return None
    plan = GeneralPlan.of(catalogue, folder)
    if plan is None and catalogue.language == ENGLISH:
        sys.stderr.write(f"No third opinion on what is heard: {HOW}.\n")
    return plan
