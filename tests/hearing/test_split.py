"""Nobody whom a network learns from is tuned on or tested with."""

from __future__ import annotations

import csv
from pathlib import Path

from models.training.split import Part, of_speaker

LISTING = Path(__file__).parents[2] / "models" / "training" / "split.tsv"
SAME_PEOPLE = ({"commands", "speech-commands-bed-cat-happy"},)
"""Two collections drawn from one: Speech Commands names its speakers alike in both (Warden, arXiv 1804.03209)."""


def test_every_speaker_is_listed_in_one_part_and_alike_where_two_collections_share_people() -> None:
    parts: dict[tuple[str, str], set[str]] = {}
    with LISTING.open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            for speaker in row["speakers"].split(", "):
                people = next(
                    (" ".join(sorted(alike)) for alike in SAME_PEOPLE if row["collection"] in alike),
                    row["collection"],
                )
                parts.setdefault((people, speaker), set()).add(row["part"])
    assert [who for who, named in parts.items() if len(named) > 1] == []
    assert len(parts) > 2000


def test_who_is_not_listed_was_never_learned_from() -> None:
    assert of_speaker("commands", "nobody") is Part.FINAL
    assert of_speaker("digits", "s1") is Part.TRAIN
