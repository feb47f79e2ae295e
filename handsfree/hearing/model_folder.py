"""A folder with a speech model in Vosk layout: what it must hold, and which model it is.

The native library ends the whole process on some damaged files, so everything that can be checked is
checked here first. What remains (a file of the right kind with a wrong inside, in a folder that carries no
list of sums) can still kill the process that loads it: load models in a child process.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from handsfree.hearing.graph import Tuning
from handsfree.hearing.units import Units
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem

SUMS: Final = "SHA256SUMS"
"""The list of checksums that our own models carry, in the form of the `sha256sum` command."""

_REMEDY: Final = "give --model a folder with a speech model in Vosk layout"
_MOST_TOLD: Final = 8
_FST_MAGIC: Final = struct.pack("<i", 2125659606)


@dataclass(frozen=True)
class ModelFolder:
    """A checked model folder; make one with `ModelFolder.check`."""

    path: Path

    @classmethod
    def check(cls, path: Path) -> ModelFolder:
        """Check every file that the recogniser will read.

        Raises `Problem` with one sentence: no such folder, or a file missing, empty or damaged (which).
        """
        if not path.is_dir():
            what = "this is a file, not a model folder" if path.exists() else "there is no such model folder"
            raise Problem(what, where=str(path), remedy=_REMEDY)
        folder = cls(path)
        folder._require_files()
        folder._require_sums()
        folder._require_kinds()
        return folder

    @cached_property
    def units(self) -> Units | None:
        """The sound units when the model is built our way, so that strict grammars can be made; else None."""
        return Units.of_model(self.path)

    @cached_property
    def identity(self) -> str:
        """A short name for exactly these model files; it stands in the record."""
        total = hashlib.sha256()
        for file in sorted(self.files()):
            total.update(f"{_sum(file)} {file.relative_to(self.path).as_posix()}\n".encode())
        return total.hexdigest()[:12]

    @cached_property
    def words(self) -> frozenset[str]:
        """The words that the model's own list names."""
        lines = (self.path / "graph" / "words.txt").read_text(encoding="utf-8", errors="replace").splitlines()
        return frozenset(line.split()[0] for line in lines if line.strip())

    def files(self) -> Iterable[Path]:
        """Return the files that make the model what it is: acoustic model, settings, graphs."""
        parts = ("am", "conf", "graph", "ivector", "rescore", "rnnlm")
        return [file for part in parts for file in (self.path / part).rglob("*") if file.is_file()]

    def _require_files(self) -> None:
        graph = "graph/HCLG.fst" if (self.path / "graph" / "HCLG.fst").exists() else "graph/HCLr.fst"
        needed = ["am/final.mdl", "conf/model.conf", graph, "graph/words.txt", "graph/phones/word_boundary.int"]
        if graph.endswith("HCLr.fst"):
            needed += ["graph/Gr.fst"]
        if self.units is not None:
            needed += ["conf/listening.json", *(f"am/{network}" for network in self._networks())]
        missing = [name for name in needed if not (self.path / name).is_file()]
        if not any((self.path / "conf" / name).is_file() for name in ("mfcc.conf", "fbank.conf")):
            missing.append("conf/mfcc.conf (or conf/fbank.conf)")
        if missing:
            raise Problem(f"the model folder lacks {', '.join(missing)}", where=str(self.path), remedy=_REMEDY)
        for name in needed:
            try:
                with (self.path / name).open("rb") as file:
                    empty = not file.read(1)
            except OSError as error:
                raise Problem(
                    f"the model file cannot be read ({error.strerror})", where=str(self.path / name)
                ) from error
            if empty:
                raise Problem("the model file is empty", where=str(self.path / name), remedy=_REMEDY)

    def _networks(self) -> Iterable[str]:
        """Return the networks in `am/` that the model's own settings name."""
        settings = self.path / "conf" / "listening.json"
        if not settings.is_file():
            return []
        try:
            return sorted({network for network, _ in Tuning.of_model(self.path).members})
        except (ValueError, TypeError, AttributeError) as error:
            raise Problem(
                "the model file is damaged: it holds no settings", where=str(settings), remedy=_REMEDY
            ) from error

    def _require_sums(self) -> None:
        listing = self.path / SUMS
        if not listing.is_file():
            return
        for line in listing.read_text(encoding="utf-8").splitlines():
            expected, _, name = line.partition("  ")
            file = self.path / name
            if not file.is_file():
                raise Problem(f"the model folder lacks {name}", where=str(self.path), remedy="install it again")
            if _sum(file) != expected:
                raise Problem(
                    f"the model file is damaged: its content is not what {SUMS} says",
                    where=str(file),
                    remedy="install it again",
                )

    def _require_kinds(self) -> None:
        for acoustic in sorted((self.path / "am").glob("*.mdl")):
            with acoustic.open("rb") as file:
                head = file.read(64)
            if b"<TransitionModel>" not in head:
                raise Problem(
                    "the model file is damaged: it is no acoustic model", where=str(acoustic), remedy=_REMEDY
                )
        for name in ("HCLG.fst", "HCLr.fst", "Gr.fst"):
            graph = self.path / "graph" / name
            if graph.is_file():
                with graph.open("rb") as file:
                    if file.read(4) != _FST_MAGIC:
                        raise Problem(
                            "the model file is damaged: it is no decoding graph", where=str(graph), remedy=_REMEDY
                        )

    def require(self, words: Iterable[str], pronunciations: Pronunciations, language: str) -> None:
        """Raise Problem naming words of a language that the model cannot hear.

        A model built our way hears every word that is pronounced; any other only those of its own list.
        """
        wanted = sorted(set(words))
        own = self.units is None
        lacking = [word for word in wanted if word not in self.words] if own else pronunciations.unknown(wanted)
        if lacking:
            more = f" and {len(lacking) - _MOST_TOLD} more" if len(lacking) > _MOST_TOLD else ""
            told = f"{', '.join(lacking[:_MOST_TOLD])}{more}"
            remedy = f"give --model a model that hears {language}, or take other words"
            if not own:
                remedy += f"; this one hears words whose phones {language}.yaml gives under `pronunciations`"
            raise Problem(
                f"the model does not know the {language} words {told}", where=str(self.path), remedy=remedy
            )


def _sum(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()
