"""Ordinary English words, from which what nobody awaits is told (`hearing/ordinary_words.py`)."""

from functools import cache
from importlib.resources import files

__all__ = ["english_words"]


@cache
def english_words() -> tuple[str, ...]:
    """Return the commonest words, each in the pronouncing dictionary; `LICENSE` says whose list it is."""
    return tuple(files(__name__).joinpath("english.txt").read_text(encoding="utf-8").split())
