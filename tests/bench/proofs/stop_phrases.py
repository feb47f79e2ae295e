"""How far each stop phrase is from all else that can be said: nice python tests/bench/proofs/stop_phrases.py.

For every stop and hazard phrase: the sentence of any grammar of the shipped procedures, numbers included, that
sounds most like it, in phones (`handsfree/lexicon/distance.py`), nearest first. A distance over phones is no error
rate: it shows which phrases to look at, `tests/bench/hearing` and `tests/bench/live` how often they are missed.
"""

from collections import defaultdict
from itertools import islice, product
from pathlib import Path

from handsfree.lexicon.distance import lost, phone_distance
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import HazardSaid
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.hearing import LEAST_DISTANCE, hearing_of
from handsfree.shipped import shipped_procedures

PROCEDURES = Path(__file__).parents[3] / "procedures"
FAR = 5.0
"""Phones; beginnings already so far from every part of the phrase are not followed."""
MOST_WAYS = 8
"""Ways to pronounce a phrase that are tried."""


def grammars():
    """Return the different languages of the shipped procedures, stop phrases left out, with a place of each."""
    found = {}
    for file in shipped_procedures():
        procedure = load_procedure(file)
        for at in hearing_of(procedure, procedure.catalogue).grammars:
            rules = [
                rule for rule in at.grammar.rules if not any(map(stops, getattr(rule, "meanings", {}).values()))
            ]
            automaton = Grammar(tuple(rules)).automaton
            found.setdefault(automaton.identity, (automaton, f"{at.placed.id}, {at.question.kind}"))
    return list(found.values())


def stops(meaning):
    return isinstance(meaning, HazardSaid)


def onward(row, phone, target):
    """Return, one phone later, the cost of each beginning of the target and where it came from."""
    cost, came = row[0]
    longer = [(cost + lost(phone), came)]
    for at, wanted in enumerate(target):
        (same, by_same), (above, by_above), (before, by_before) = row[at], row[at + 1], longer[at]
        steps = (
            (same + phone_distance(phone, wanted), by_same),
            (above + lost(phone), by_above),
            (before + lost(wanted), by_before),
        )
        longer.append(min(steps))
    return longer


def nearest(automaton, target, known):
    """Return the least distance of any sentence of the automaton to the target, and that sentence."""
    arcs = defaultdict(list)
    for source, word, to in automaton.arcs:
        if word != UNKNOWN_WORD:
            arcs[source].append((word, to))
    first = [0.0]
    for phone in target:
        first.append(first[-1] + lost(phone))
    best = {0: (first, [()] * len(first))}
    queue = [0]
    while queue:
        costs, said = best[queue[0]]
        for word, to in arcs[queue.pop(0)]:
            for phones in known.of(word):
                row = [(cost, at) for at, cost in enumerate(costs)]
                for phone in phones:
                    row = onward(row, phone, target)
                kept, sentences = best.get(to, ([FAR] * len(row), [()] * len(row)))
                better = [at for at, (cost, _) in enumerate(row) if cost < kept[at] - 1e-9]
                if better:
                    kept, sentences = list(kept), list(sentences)
                    for at in better:
                        kept[at], sentences[at] = row[at][0], (*said[row[at][1]], word)
                    best[to] = (kept, sentences)
                    queue.append(to)
    ends = [(best[state][0][-1], best[state][1][-1]) for state in automaton.finals if state in best]
    return min(ends, default=(FAR, ()))


def main():
    known, languages = Pronunciations(), grammars()
    rows = []
    for name, hazard in english().hazards.items():
        for text in hazard.heard:
            ways = islice(product(*(known.of(word) for word in text.split())), MOST_WAYS)
            targets = {tuple(phone for word in way for phone in word) for way in ways}
            found = [
                (*nearest(automaton, target, known), where) for target in targets for automaton, where in languages
            ]
            rows.append((*min(found), text, name))
    print(f"{len(languages)} grammars; the proofs ask {LEAST_DISTANCE} phones between two phrases")
    for apart, sentence, where, text, name in sorted(rows):
        shown = f'"{" ".join(sentence)}" ({where})' if sentence else f"nothing within {FAR}"
        print(f"{apart:5.2f}  {text:28} {name:12} {shown}")


if __name__ == "__main__":
    main()
