"""How many damaged procedures the proofs catch, and which dangers get past them.

    python tests/bench/proofs/mutation.py [FILE ...] [--every N] [--survivors]

Damages come from the language's model (`handsfree/procedure/proofs/mutants.py`). One that changes no meaning
is left out. One is dangerous when it allows what the undamaged procedure ruled out
(`handsfree/procedure/proofs/dangers.py`, which knows none of the proofs), or makes a phrase sound like another.
"""

import sys
import time
from collections import Counter
from pathlib import Path

from handsfree.lexicon.catalogue import english
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import failures, first_failure
from handsfree.procedure.proofs.dangers import dangers
from handsfree.procedure.proofs.mutants import documents_of, load_mutant, mutants

PROCEDURES = Path(__file__).parents[3] / "procedures"
BY_WORDS = ("near-homophone", "hazard phrase", "action last", "longer", "empty source")


def main(arguments: list[str]) -> None:
    every = int(arguments[arguments.index("--every") + 1]) if "--every" in arguments else 1
    named = [Path(a) for a in arguments if a.endswith(".yaml")]
    for path in named or sorted(PROCEDURES.glob("*.yaml")):
        report(path, every, survivors="--survivors" in arguments)


def report(path: Path, every: int, *, survivors: bool) -> None:
    began = time.perf_counter()
    wholes = [other for other in sorted(PROCEDURES.glob("*.yaml")) if path.resolve() in documents_of(other)]
    documents = {place: document for other in wholes for place, document in documents_of(other).items()}
    loaded = {other: load_procedure(other) for other in wholes}
    known = {other: failures(procedure) for other, procedure in loaded.items()}
    for other, failed in known.items():
        if failed:
            print(f"{other.name} itself is not proven ({len(failed)} failures); those are passed over")
    caught: Counter[tuple[str, str]] = Counter()
    dangerous: Counter[str] = Counter()
    alive: list[tuple[str, str, tuple[str, ...]]] = []
    same = 0
    for number, mutant in enumerate(mutants(documents[path.resolve()], english())):
        if number % every:
            continue
        try:
            damaged = {other: load_mutant(other, path, mutant, documents) for other in wholes}
        except Problem:
            caught[mutant.damage, "does not load"] += 1
            continue
        failure = next(filter(None, (first_failure(damaged[w], known=known[w]) for w in wholes)), None)
        if failure is not None:
            caught[mutant.damage, failure[0]] += 1
        elif not any(changes(loaded[w], damaged[w]) for w in wholes):
            same += 1
        else:
            found = tuple(danger for w in wholes for danger in dangers(loaded[w], damaged[w]))
            dangerous[mutant.damage] += bool(found) or mutant.damage.startswith(BY_WORDS)
            alive.append((mutant.damage, str(mutant), found))
    killed, total = sum(caught.values()), sum(caught.values()) + len(alive)
    print(
        f"{path.name}: {killed} of {total} damages caught ({100 * killed / total:.1f} %); of the {len(alive)} others "
        f"{sum(dangerous.values())} allow what was ruled out before; {same} changed no meaning; "
        f"{time.perf_counter() - began:.0f} s"
    )
    by_damage = Counter({damage: 0 for damage, _ in caught})
    for (damage, _), count in caught.items():
        by_damage[damage] += count
    left = Counter(damage for damage, _, _ in alive)
    for damage in sorted(set(by_damage) | set(left)):
        proofs = ", ".join(f"{p} {n}" for (d, p), n in sorted(caught.items()) if d == damage)
        count = f"{by_damage[damage]:4} of {by_damage[damage] + left[damage]:4}"
        print(f"  {damage:28} {count}  dangerous left {dangerous[damage]:3}  {proofs}")
    if survivors:
        for _, name, found in alive:
            print("   survives", name, "|", "; ".join(found[:2]) or "no danger")


if __name__ == "__main__":
    main(sys.argv[1:])
