"""Where the weights of the general recogniser lie: the files of the wheel `moonshine_cpp`, or any folder.

The wheel itself is never imported: only its files are read.
"""

from __future__ import annotations

import hashlib
import importlib.util
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from handsfree.lexicon.catalogue import ENGLISH, Catalogue
from handsfree.lexicon.numbers import Numbers
from handsfree.problem import Problem

FILES: Final = ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin")
HOW: Final = (
    "`pip install handsfree[general-ears]` brings them where the wheel moonshine_cpp exists; elsewhere unpack"
    " moonshine_cpp/models/base-en from that wheel and give the folder by --general-model"
)
"""How to get the weights, in one sentence."""

_PACKAGE: Final = "moonshine_cpp"
_FORMAT: Final = b"ORTM"
"""The mark of the format, four bytes from the beginning."""


@dataclass(frozen=True)
class GeneralPlan:
    """What a process needs to ask the general recogniser: its folder, how numbers are said, what to ask always."""

    folder: GeneralFolder
    numbers: Numbers
    cries: tuple[tuple[str, ...], ...] = ()
    orders: tuple[tuple[str, ...], ...] = ()
    """Every stop and hazard phrase: nothing is asked about one that was heard."""
    threads: int = 2
    """The visit's other processes need their share of a small machine."""

    @classmethod
    def of(cls, catalogue: Catalogue, folder: Path | None = None) -> GeneralPlan | None:
        """Return the plan for a language: by the folder given, or by what is installed; None where nothing is.

        Raises Problem when the folder given is not usable. Other languages than English have none.
        """
        found = GeneralFolder.installed() if folder is None else GeneralFolder.check(folder)
        if found is None or catalogue.language != ENGLISH:
            return None
        hazards = catalogue.hazards.values()
        cries = tuple(tuple(cry.split()) for hazard in hazards for cry in hazard.alone)
        orders = tuple(tuple(text.split()) for hazard in hazards for text in (*hazard.heard, *hazard.alone))
        return cls(found, catalogue.numbers, cries, orders)


@dataclass(frozen=True)
class GeneralFolder:
    """A checked folder with the weights; make one with `check` or `installed`."""

    path: Path

    @classmethod
    def check(cls, path: Path) -> GeneralFolder:
        """Return the folder; Problem when a file of it, or a library, is missing or of another kind."""
        lacking = [name for name in FILES if not (path / name).is_file()]
        if lacking:
            raise Problem(
                f"the folder of the general recogniser lacks {', '.join(lacking)}", where=str(path), remedy=HOW
            )
        for name in FILES[:2]:
            with (path / name).open("rb") as file:
                if file.read(8)[4:] != _FORMAT:
                    raise Problem("the file holds no weights of a network", where=str(path / name), remedy=HOW)
        for library in ("onnxruntime", "onnx"):
            if importlib.util.find_spec(library) is None:
                raise Problem(
                    f"the general recogniser needs the library {library}",
                    remedy="install handsfree[general-ears]",
                )
        return cls(path)

    @classmethod
    def installed(cls) -> GeneralFolder | None:
        """Return the folder that an installed wheel brings, or None."""
        found = importlib.util.find_spec(_PACKAGE)
        if found is None or found.origin is None:
            return None
        path = Path(found.origin).parent / "models" / "base-en"
        try:
            return cls.check(path)
        except Problem:
            return None

    @cached_property
    def identity(self) -> str:
        """A short name for exactly these weights; it stands in the record."""
        total = hashlib.sha256()
        for name in FILES:
            total.update(f"{hashlib.sha256((self.path / name).read_bytes()).hexdigest()} {name}\n".encode())
        return total.hexdigest()[:12]
