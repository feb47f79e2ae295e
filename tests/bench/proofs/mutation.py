"""How many damaged procedures the proofs catch, and which dangers get past them.

    python tests/bench/proofs/mutation.py [FILE ...] [--every N] [--survivors]

Damages come from the language's model (`tests/procedure/support/mutants.py`). One that changes no meaning
is left out. One is dangerous when it allows what the undamaged procedure ruled out
(`handsfree/procedure/proofs/dangers.py`, which knows none of the proofs), or makes a phrase sound like another.
"""

import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from mutants import documents_of, load_mutant, mutants

from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import failures, first_failure
from handsfree.procedure.proofs.dangers import dangers
from handsfree.shipped import shipped_procedures

PROCEDURES = Path(__file__).parents[3] / "procedures"
BY_WORDS = ("near-homophone", "hazard phrase", "action last", "longer", "empty source")


def main(arguments: list[str]) -> None:
    every = int(arguments[arguments.index("--every") + 1]) if "--every" in arguments else 1
    named = [Path(a) for a in arguments if a.endswith(".yaml")]
    for path in named or shipped_procedures():
        report(path, every, survivors="--survivors" in arguments)


@dataclass
class Tried:
    """What became of the damages of one file."""

    caught: Counter[tuple[str, str]] = field(default_factory=Counter)
    dangerous: Counter[str] = field(default_factory=Counter)
    alive: list[tuple[str, str, tuple[str, ...]]] = field(default_factory=list)
    same: int = 0


def try_damages(path: Path, every: int) -> Tried:
    """Damage a file in each way and prove every procedure that it is part of."""
    wholes = [other for other in shipped_procedures() if path.resolve() in documents_of(other)]
    documents = {place: document for other in wholes for place, document in documents_of(other).items()}
    loaded = {other: load_procedure(other) for other in wholes}
    known = {other: failures(procedure) for other, procedure in loaded.items()}
    for other, failed in known.items():
        if failed:
            print(f"{other.name} itself is not proven ({len(failed)} failures); those are passed over")
    tried = Tried()
    for number, mutant in enumerate(mutants(documents[path.resolve()], english())):
        if number % every:
            continue
        try:
            damaged = {other: load_mutant(other, path, mutant, documents) for other in wholes}
        except Problem:
            tried.caught[mutant.damage, "does not load"] += 1
            continue
        failure = next(filter(None, (first_failure(damaged[w], known=known[w]) for w in wholes)), None)
        if failure is not None:
            tried.caught[mutant.damage, failure[0]] += 1
        elif not any(changes(loaded[w], damaged[w]) for w in wholes):
            tried.same += 1
        else:
            found = tuple(danger for w in wholes for danger in dangers(loaded[w], damaged[w]))
            tried.dangerous[mutant.damage] += bool(found) or mutant.damage.startswith(BY_WORDS)
            tried.alive.append((mutant.damage, str(mutant), found))
    return tried


def report(path: Path, every: int, *, survivors: bool) -> None:
    began = time.perf_counter()
    tried = try_damages(path, every)
    killed = sum(tried.caught.values())
    total = killed + len(tried.alive)
    print(
        f"{path.name}: {killed} of {total} damages caught ({100 * killed / total:.1f} %); "
        f"of the {len(tried.alive)} others {sum(tried.dangerous.values())} allow what was ruled out before; "
        f"{tried.same} changed no meaning; {time.perf_counter() - began:.0f} s"
    )
    by_damage: Counter[str] = Counter()
    for (damage, _), count in tried.caught.items():
        by_damage[damage] += count
    left = Counter(damage for damage, _, _ in tried.alive)
    for damage in sorted(set(by_damage) | set(left)):
        proofs = ", ".join(f"{p} {n}" for (d, p), n in sorted(tried.caught.items()) if d == damage)
        count = f"{by_damage[damage]:4} of {by_damage[damage] + left[damage]:4}"
        print(f"  {damage:28} {count}  dangerous left {tried.dangerous[damage]:3}  {proofs}")
    if survivors:
        for _, name, found in tried.alive:
            print("   survives", name, "|", "; ".join(found[:2]) or "no danger")


if __name__ == "__main__":
    main(sys.argv[1:])
