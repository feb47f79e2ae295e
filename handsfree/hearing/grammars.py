"""Native recognisers for one grammar each, made from a model folder and kept while they are of use."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, Final, Protocol

import vosk

from handsfree.hearing.alternatives import ScoreCalibration
from handsfree.hearing.ensemble import EnsembleMember
from handsfree.hearing.graph import UNKNOWN, Tuning, strict_graph
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.units import Units
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem

SAMPLE_RATE: Final = 16_000
"""Samples a second of the sound that recognisers take."""

_GRAMMARS_KEPT: Final = 2
"""The gate's and the stop words'. Each holds every network anew: 17 MB for each."""
_MOST_SENTENCES: Final = 400
_LONGEST_SENTENCE: Final = 12
_NEVER_ENDING: Final = (
    "".join(f"--endpoint.rule{rule}.min-trailing-silence=1000\n" for rule in (1, 2, 3, 4))
    + "--endpoint.rule5.min-utterance-length=100000\n"
)
"""Where an utterance ends is decided elsewhere (voice activity), so the library must not."""
_BOUNDED: Final = "--max-mem=1000000\n"
"""A lattice has at most about 1 MB, or is pruned narrower: in loud noise it had 50, and took seconds to end."""
_FEW_PATHS: Final = "--max-active=1500\n"
"""Of a strict grammar so many paths are followed: with more, lattices reach 1 MB, and no decision is another.

Narrower lattices (`lattice-beam`) would hide who comes next: 8 of it are a lead of 3.4, and values must lead by
3.25 (`python -m tests.bench.hearing.lattices`).
"""


class Grammars(Protocol):
    """Makes native recognisers for grammars."""

    judgement: ScoreCalibration

    def phones_in(self, word: str) -> int:
        """Return how many phones a word has, for the judgement."""

    def members(self, automaton: WordAutomaton) -> Sequence[EnsembleMember]:
        """Return fresh members; `Problem` when the model cannot hear a word of the grammar."""


class StrictGrammars:
    """Strict graphs over one of our own models; the models of the last two grammars are kept."""

    def __init__(self, folder: ModelFolder, units: Units, pronunciations: Pronunciations) -> None:
        self._folder, self._units, self._pronunciations = folder, units, pronunciations
        self._tuning = Tuning.of_model(folder.path)
        self._kept: OrderedDict[str, Mapping[str, Any]] = OrderedDict()
        self.judgement = ScoreCalibration(self._tuning.score_scale, self._tuning.base, self._tuning.steepness)

    def members(self, automaton: WordAutomaton) -> Sequence[EnsembleMember]:
        """Return fresh members that hear exactly the sentences of the automaton, or `[unk]`."""
        if automaton.identity not in self._kept:
            while len(self._kept) >= _GRAMMARS_KEPT:  # at once: a small machine has no room for one more
                self._kept.popitem(last=False)
            self._kept[automaton.identity] = self._models(automaton)
        self._kept.move_to_end(automaton.identity)
        models = self._kept[automaton.identity]
        return [EnsembleMember(models[network], rate) for network, rate in self._tuning.members]

    def phones_in(self, word: str) -> int:
        """Return how many phones a word has when said the commonest way."""
        return len(self._pronunciations.of(word)[0])

    def _models(self, automaton: WordAutomaton) -> Mapping[str, Any]:
        """Load the grammar with each network."""
        graph, numbers = strict_graph(automaton, self._pronunciations, self._units, self._tuning)
        with tempfile.TemporaryDirectory(prefix="handsfree-grammar-") as name:
            place = Path(name)
            _settings(self._folder.path, place, _FEW_PATHS)
            (place / "graph" / "phones").mkdir(parents=True)
            (place / "graph" / "HCLG.fst").write_bytes(graph.to_bytes(sort="input"))
            (place / "graph" / "words.txt").write_text(numbers.text(), encoding="utf-8")
            (place / "graph" / "phones" / "word_boundary.int").write_text(
                self._units.boundaries_text(), encoding="utf-8"
            )
            return {network: self._model(place, network) for network, _ in self._tuning.members}

    def _model(self, place: Path, network: str) -> Any:
        (place / "am").mkdir(exist_ok=True)
        acoustic = place / "am" / "final.mdl"
        acoustic.unlink(missing_ok=True)
        _link(self._folder.path / "am" / network, acoustic)
        return _load(place, self._folder.path)


class PhraseGrammars:
    """Phrase lists over any other model: looser, since the library joins phrases as it likes."""

    judgement = ScoreCalibration()  # such a model brings no figures of its own

    def __init__(self, folder: ModelFolder) -> None:
        self._folder = folder
        if (folder.path / "graph" / "HCLG.fst").exists():
            raise Problem(
                "the model has one fixed grammar and takes no other",
                where=str(folder.path),
                remedy="use a model with graph/HCLr.fst and graph/Gr.fst",
            )
        with tempfile.TemporaryDirectory(prefix="handsfree-model-") as name:
            place = Path(name)
            _settings(folder.path, place)
            for part in folder.path.iterdir():
                if part.is_dir() and part.name != "conf":
                    _link(part, place / part.name)
            self._model = _load(place, folder.path)

    def members(self, automaton: WordAutomaton) -> Sequence[EnsembleMember]:
        """Return the one member of a phrase list that covers the automaton's sentences."""
        unknown = sorted(word for word in automaton.words() if self._model.vosk_model_find_word(word) < 0)
        if unknown:
            raise Problem(
                f"the model does not know the words {', '.join(unknown)}",
                where=str(self._folder.path),
                remedy="use other words, or the model that comes with Handsfree",
            )
        listing = json.dumps([*phrase_list(automaton), UNKNOWN])
        return [EnsembleMember(self._model, phrases=listing)]

    def phones_in(self, word: str) -> int:
        """Return the number of letters: the judgement of such a model counts nothing."""
        return len(word)


def phrase_list(automaton: WordAutomaton) -> Sequence[str]:
    """Return phrases that cover the language: its sentences when they are few, else its words and pairs."""
    longest = 1 + max((max(source, target) for source, _, target in automaton.arcs), default=0)
    if longest <= _LONGEST_SENTENCE:
        sentences = list(islice(automaton.sentences(longest + 1), _MOST_SENTENCES))
        if len(sentences) < _MOST_SENTENCES and all(len(one) <= longest for one in sentences):
            return sorted(" ".join(sentence) for sentence in sentences)
    return sorted({*automaton.words(), *(" ".join(pair) for pair in automaton.pairs())})


def _settings(model: Path, place: Path, more: str = "") -> None:
    """Copy the model's settings; where an utterance ends is no more for the library, and its search is bounded."""
    shutil.copytree(model / "conf", place / "conf", copy_function=shutil.copyfile)
    settings = place / "conf" / "model.conf"
    settings.write_text(
        settings.read_text(encoding="utf-8").rstrip() + "\n" + _NEVER_ENDING + _BOUNDED + more, encoding="utf-8"
    )


def _link(source: Path, target: Path) -> None:
    try:
        target.symlink_to(source.resolve(), target_is_directory=source.is_dir())
    except OSError:  # a file system without links
        if source.is_dir():
            shutil.copytree(source, target, copy_function=shutil.copyfile)
        else:
            shutil.copyfile(source, target)


def _load(place: Path, told: Path) -> Any:
    try:
        return vosk.Model(str(place))
    except Exception as error:  # the library says no more than this
        raise Problem(
            "the recogniser cannot load the speech model", where=str(told), remedy="install the model again"
        ) from error
