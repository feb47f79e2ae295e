"""What becomes of faults drawn by hand: refused by `check`, failed by a story, classed looser, or unnoticed.

    python -m tests.bench.proofs.drawn [FILE.yaml] [--only NUMBER...]

Prints one line a fault and the counts. About five seconds of CPU each.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

from ruamel.yaml import YAML

from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import failures, first_failure
from handsfree.stories.running import by_another, plan_of_story, stories_beside, told

ROOT = Path(__file__).parents[3]
FAULTS = Path(__file__).with_name("drawn-by-hand.yaml")


def damaged_folder(fault: dict, into: Path) -> Path:
    """Return the procedure in a copy of the folder, one file damaged; AssertionError where the text lacks."""
    shutil.copytree(ROOT / "procedures", into, dirs_exist_ok=True)
    whole, file = (into / f"{name}.yaml" for name in (fault["file"], fault.get("in", fault["file"])))
    text = file.read_text("utf-8")
    assert fault["was"] in text, f"{fault['what']}: not there"
    file.write_text(text.replace(fault["was"], fault["becomes"], 1), "utf-8")
    return whole


def outcome(fault: dict) -> tuple[str, str]:
    """Return who noticed a fault, and by what."""
    sound = load_procedure(ROOT / "procedures" / f"{fault['file']}.yaml")
    with tempfile.TemporaryDirectory() as folder:
        try:
            damaged = load_procedure(damaged_folder(fault, Path(folder)))
            failure = first_failure(damaged, known=failures(sound))
        except Problem as problem:
            return "check", f"refused: {problem.what}"
        if failure is not None:
            return "check", failure[0]
        stories = stories_beside(ROOT / "procedures" / f"{fault['file']}.yaml")
        for number, story in enumerate(stories.file.stories if stories is not None else ()):
            if told(stories, number, by_another(damaged, plan_of_story(stories, story))).fault:
                return "story", story.story
        found = changes(sound, damaged)
        looser = next((one for one in found if one.weight == "looser"), None)
        if looser is not None:
            return "looser", looser.sentence()
        return "unnoticed", ", ".join(f"{one.weight}: {one.sentence()}" for one in found) or "no change"


def main(arguments: list[str]) -> None:
    """Print what becomes of each."""
    only = [int(one) for one in arguments[1:]] if arguments[:1] == ["--only"] else []
    file = Path(arguments[0]) if arguments and not only else FAULTS
    faults = YAML(typ="safe", pure=True).load(file)
    counts: Counter[str] = Counter()
    for number, fault in enumerate(faults, 1):
        if only and number not in only:
            continue
        by, how = outcome(fault)
        counts[by] += 1
        sys.stdout.write(f"{number:2} {by:9} {fault['file']}: {fault['what']} ({how[:90]})\n")
        sys.stdout.flush()
    sys.stdout.write(f"{sum(counts.values())} faults: {dict(counts)}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
