"""Decoding graphs hold exactly the sentences of their automaton, silence, and unknown speech."""

import struct
from pathlib import Path

import numpy as np
import pytest

from handsfree.hearing.graph import UNKNOWN, Tuning, strict_graph
from handsfree.hearing.transducer import Transducer
from handsfree.hearing.units import Units
from handsfree.lexicon.automaton import choice, optional, phrase, phrases, repeated, sequence
from handsfree.lexicon.pronunciation import PHONES, Pronunciations
from handsfree.problem import Problem

UNITS = Units(PHONES)
TUNING = Tuning(unknown_phone_cost=2.0, unknown_cost=0.0, word_cost=0.0, score_scale=1.0)


def read_const(content: bytes):
    """Read a const transducer by OpenFst's layout: (start, finals, arcs as (from, in, out, cost, to))."""
    magic, length = struct.unpack_from("<ii", content)
    assert magic == 2125659606
    at = 8 + length
    assert content[8:at] == b"const"
    (length,) = struct.unpack_from("<i", content, at)
    assert content[at + 4 : at + 4 + length] == b"standard"
    at += 4 + length
    version, flags, _, start, states, arcs = struct.unpack_from("<iiQqqq", content, at)
    assert (version, flags) == (2, 0)
    at += 40
    table = np.frombuffer(content, "<f4,<u4,<u4,<u4,<u4", states, at)
    body = np.frombuffer(content, "<i4,<i4,<f4,<i4", arcs, at + 20 * states)
    assert len(content) == at + 20 * states + 16 * arcs
    finals = {number for number, row in enumerate(table) if np.isfinite(row[0])}
    listed = [(n, *body[i].tolist()) for n, row in enumerate(table) for i in range(row[1], row[1] + row[2])]
    return start, finals, listed


def sentences(graph, numbers, longest=6):
    """All word sequences that the graph can write in so many words, by a walk of its own."""
    start, finals, arcs = read_const(graph.to_bytes(sort="input"))
    names = {number: word for word, number in numbers.table().items()}
    onward = {}
    for source, _, written, _, target in arcs:
        onward.setdefault(source, set()).add((names.get(written), target))
    seen, stack, found = set(), [(start, ())], set()
    while stack:
        state, words = stack.pop()
        if (state, words) in seen or len(words) > longest:
            continue
        seen.add((state, words))
        if state in finals:
            found.add(words)
        stack += [(target, (*words, word) if word else words) for word, target in onward.get(state, ())]
    return found


def test_the_graph_writes_the_sentences_of_the_automaton_and_unknown_speech_and_silence():
    number = phrases(["one", "two", "three"])
    language = choice(sequence(number, phrase("point"), number), phrase("hold on"), repeated(phrase("yes")))
    automaton = language.automaton()
    expected = set(automaton.sentences(6)) | {(UNKNOWN,), ()}
    assert sentences(*strict_graph(automaton, Pronunciations(), UNITS, TUNING)) == expected


def test_a_word_that_returns_to_the_start_may_be_said_again():
    automaton = repeated(sequence(phrase("go"), optional(phrase("on")))).automaton()
    found = sentences(*strict_graph(automaton, Pronunciations(), UNITS, TUNING), longest=3)
    assert found == set(automaton.sentences(3)) | {(UNKNOWN,), ()}


def test_words_are_read_as_the_phones_of_the_dictionary_in_their_positions():
    graph, numbers = strict_graph(phrase("two").automaton(), Pronunciations(), UNITS, TUNING)
    _, _, arcs = read_const(graph.to_bytes(sort="input"))
    begin, end = UNITS.phone("T", "B"), UNITS.phone("UW", "E")
    (first,) = [arc for arc in arcs if arc[2] == numbers.table()["two"]]
    assert first[1] == begin.enter
    assert {arc[1] for arc in arcs if arc[0] == first[4]} == {begin.stay, end.enter}


def test_a_word_that_the_procedure_spells_out_needs_no_training():
    spelled = Pronunciations({"trvb": "T R V B"})
    assert ("trvb",) in sentences(*strict_graph(phrase("trvb").automaton(), spelled, UNITS, TUNING))


def test_words_without_a_pronunciation_are_all_named():
    with pytest.raises(Problem, match=r"'isolatted' \(near: .*isolated.*\), 'zzyx'"):
        strict_graph(phrase("zzyx isolatted").automaton(), Pronunciations(), UNITS, TUNING)


def test_arcs_are_sorted_as_asked():
    graph = Transducer()
    state = graph.state(final=0.5)
    for label in (3, 1, 2):
        graph.arc(state, state, read=label, write=4 - label, cost=label / 2)
    assert [arc[1] for arc in read_const(graph.to_bytes(sort="input"))[2]] == [1, 2, 3]
    assert [arc[2] for arc in read_const(graph.to_bytes(sort="output"))[2]] == [1, 2, 3]


def test_units_are_read_back_from_a_model_and_other_listings_are_not_ours(tmp_path: Path):
    (tmp_path / "graph").mkdir()
    assert Units.of_model(tmp_path) is None
    (tmp_path / "graph/phones.txt").write_text(UNITS.phones_text())
    assert Units.of_model(tmp_path) == UNITS
    (tmp_path / "graph/phones.txt").write_text("<eps> 0\nSIL 1\nSPN 2\nAA_B 3\n")
    assert Units.of_model(tmp_path) is None


def test_every_move_of_the_decoder_is_numbered_once():
    moves = [UNITS.silence]
    moves += [UNITS.phone(phone, at) for phone in PHONES for at in "BEIS"]
    moves += [UNITS.filler(phone, at) for phone in PHONES for at in "BEIS"]
    numbers = sorted(number for move in moves for number in (move.stay, move.enter))
    assert numbers == list(range(1, 2 * len(UNITS.outputs()) + 1))


def test_any_speech_may_be_a_part_of_a_sentence():
    language = choice(sequence(phrase("not done because"), optional(phrase(UNKNOWN))), phrase("done"))
    found = sentences(*strict_graph(language.automaton(), Pronunciations(), UNITS, TUNING))
    assert found == set(language.automaton().sentences(6)) | {(UNKNOWN,), ()}
