"""What a training utterance is made of: whole recordings, words of one speaker joined anew, synthetic speech."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsfree.lexicon.pronunciation import Phones, Pronunciations
from models.training.loudness import gains
from models.training.sound_store import RATE, Utterance

LONGEST = 7 * RATE
_SHARES = {
    "an4": 0.19,
    "joined": 0.16,
    "commands": 0.14,
    "digits": 0.08,
    "neural": 0.28,
    "other": 0.12,
    "none": 0.03,
}
_WITH_EDGE = 0.75
_APART_DB = 5.0
"""How much louder or fainter than the first a joined word may be. A judgement."""
_SYNTHETIC = ("espeak", "flite", "nano", "festival")

_RAMP = np.linspace(0, 1, RATE // 200, dtype=np.float32)

Sound = npt.NDArray[np.int16]


@dataclass(frozen=True)
class Piece:
    """Sound with the ways to say each of its words; `phones` instead when they are known exactly."""

    sound: Sound
    words: tuple[str, ...]
    phones: Phones | None


class Mixer:
    """Draws training utterances, with whatever random source it is given."""

    def __init__(self, utterances: Iterable[Utterance], pronunciations: Pronunciations) -> None:
        self._pronunciations = pronunciations
        self._known: dict[str, Sequence[Phones]] = {}
        self._by_source: dict[str, list[Piece]] = defaultdict(list)
        self._by_speaker: dict[str, dict[str, list[Piece]]] = defaultdict(lambda: defaultdict(list))
        self._cut: dict[str, list[tuple[Piece, Sequence[int]]]] = defaultdict(list)
        self.add(utterances)
        pronunciations.require(
            word for pieces in self._by_source.values() for piece in pieces for word in piece.words
        )
        lacking = [share for share in _SHARES if share not in {*self._by_source, "joined", "none"}]
        if lacking or not self._cut:
            raise ValueError(
                f"the data lack {', '.join(lacking) or 'recordings cut into words'}: prepare them first"
            )
        self._speakers = {source: sorted(speakers) for source, speakers in self._by_speaker.items()}
        self._cut_speakers = sorted(self._cut)

    def add(self, utterances: Iterable[Utterance]) -> None:
        """Take more utterances, of speakers that were known before or not cut into words."""
        for one in utterances:
            source = one.speaker.split()[0]
            piece = Piece(np.round(one.samples * 32767).astype(np.int16), one.words, one.phones)
            source = "other" if source in _SYNTHETIC else source
            self._by_source[source].append(piece)
            self._by_speaker[source][one.speaker].append(piece)
            if one.cuts is not None:
                self._cut[one.speaker].append((piece, one.cuts))

    def draw(self, chance: random.Random) -> tuple[Sound, list[str]]:
        """Return the sound, at most seven seconds, and its phones."""
        (kind,) = chance.choices(list(_SHARES), list(_SHARES.values()))
        pieces = getattr(self, f"_{kind}")(chance)
        if kind != "none" and chance.random() < 0.06:  # somebody else goes on
            pieces = [*pieces, *self._neural(chance)]
        sounds: list[Sound] = [self._edge(chance)]
        phones: list[str] = []
        size = len(sounds[0])
        louder = [chance.uniform(-_APART_DB, _APART_DB) if number else 0.0 for number in range(len(pieces))]
        for piece, gain in zip(pieces, gains([piece.sound for piece in pieces], louder), strict=True):
            if size + len(piece.sound) > LONGEST:
                break
            sounds.append(_amplified(piece.sound, gain))
            size += len(piece.sound)
            phones += self._said(piece, chance)
        sounds.append(self._edge(chance))
        return np.concatenate(sounds), phones

    def _said(self, piece: Piece, chance: random.Random) -> Sequence[str]:
        if piece.phones is not None:
            return piece.phones
        return [phone for word in piece.words for phone in chance.choice(self._ways(word))]

    def _ways(self, word: str) -> Sequence[Phones]:
        if word not in self._known:
            self._known[word] = self._pronunciations.of(word)
        return self._known[word]

    def _an4(self, chance: random.Random) -> list[Piece]:
        return [chance.choice(self._by_source["an4"])]

    def _neural(self, chance: random.Random) -> list[Piece]:
        return [chance.choice(self._by_source["neural"])]

    def _other(self, chance: random.Random) -> list[Piece]:
        return [chance.choice(self._by_source["other"])]

    def _none(self, chance: random.Random) -> list[Piece]:
        return [Piece(np.zeros(chance.randint(RATE // 2, 3 * RATE), dtype=np.int16), (), ())]

    def _joined(self, chance: random.Random) -> list[Piece]:
        """Join runs of one to three words of one speaker, now and then of another one."""
        speaker = chance.choice(self._cut_speakers)
        pieces = []
        for _ in range(chance.choice([1, 2, 2, 3, 3, 4, 5])):
            if chance.random() < 0.1:
                speaker = chance.choice(self._cut_speakers)
            whole, cuts = chance.choice(self._cut[speaker])
            first = chance.randrange(len(whole.words))
            last = min(len(whole.words), first + chance.choice([1, 1, 2, 3]))
            pieces.append(Piece(_faded(whole.sound[cuts[first] : cuts[last]]), whole.words[first:last], None))
            if chance.random() < 0.3:
                pieces.append(Piece(self._pause(chance, 0.0, 0.25), (), ()))
        return pieces

    def _commands(self, chance: random.Random) -> list[Piece]:
        return self._one_speaker("commands", chance, [1, 1, 2, 2, 3], closeness=0.5)

    def _digits(self, chance: random.Random) -> list[Piece]:
        return self._one_speaker("digits", chance, [1, 2, 3, 4, 5], closeness=0.9)

    def _one_speaker(
        self, source: str, chance: random.Random, counts: Sequence[int], closeness: float
    ) -> list[Piece]:
        """Join words of one speaker; the silence in front of a later word is mostly cut."""
        clips = self._by_speaker[source][chance.choice(self._speakers[source])]
        pieces: list[Piece] = []
        for _ in range(chance.choice(counts)):
            clip = chance.choice(clips)
            sound = clip.sound
            if pieces and chance.random() < closeness:
                loud = np.flatnonzero(np.abs(sound) > 0.08 * max(1, int(np.abs(sound).max())))
                sound = sound[max(0, loud[0] - RATE // 12) : loud[-1] + RATE // 10] if len(loud) else sound
            pieces.append(Piece(sound, clip.words, None))
        return pieces

    def _edge(self, chance: random.Random) -> Sound:
        """Return the pause before or after what is said: now and then none, as in clips cut close."""
        return self._pause(chance, 0.02, 0.45) if chance.random() < _WITH_EDGE else self._pause(chance, 0.0, 0.0)

    def _pause(self, chance: random.Random, least: float, most: float) -> Sound:
        return np.zeros(round(chance.uniform(least, most) * RATE), dtype=np.int16)


def _amplified(sound: Sound, gain: float) -> Sound:
    """Return the sound that much louder, or as loud as 16 bits hold."""
    if gain == 1.0:
        return sound
    most = 32767 / max(1, int(np.abs(sound.astype(np.int32)).max(initial=0)))
    return (sound * np.float32(min(gain, most))).astype(np.int16)


def _faded(sound: Sound) -> Sound:
    """Soften both ends over five milliseconds, against clicks."""
    soft = sound.copy()
    length = min(len(_RAMP), len(soft) // 2)
    soft[:length] = (soft[:length] * _RAMP[:length]).astype(np.int16)
    soft[len(soft) - length :] = (soft[len(soft) - length :] * _RAMP[:length][::-1]).astype(np.int16)
    return soft
