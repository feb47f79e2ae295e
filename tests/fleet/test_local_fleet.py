"""Heavy work over many visits on one machine: each on its own, none lost, none done twice."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import odd_work
import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.fleet.driving import work_through
from handsfree.fleet.jobs import carry_out
from handsfree.fleet.results import ResultsFile
from handsfree.fleet.stored_visits import source_of
from handsfree.fleet.workers import LocalWorkers
from handsfree.problem import ExitCode, Problem

CONDITIONS = {"job": "verify"}


def fleet(*arguments):
    return CliRunner().invoke(app, ["fleet", *map(str, arguments)])


def lines_of(file):
    return [json.loads(line) for line in file.read_text().splitlines()]


def worked_through(root, results, *, count=2, longest_s=60.0, work=odd_work.odd):
    workers = LocalWorkers(count, work, longest_s=longest_s)
    try:
        with ResultsFile(results, CONDITIONS) as kept:
            return work_through("verify", source_of(str(root)), workers, kept)
    finally:
        workers.close()


def test_all_visits_are_verified_and_a_second_run_does_none_again(visits, tampered, tmp_path):
    """A tampered one is named, the exit code says it; a copy under another name is worked on once."""
    root, results = visits(3), tmp_path / "found.jsonl"
    tampered(root / "0001")
    done = fleet("verify", root, "--workers", 1, "--results", results)
    assert isinstance(done.exception, Problem), done.output
    assert done.exception.code == ExitCode.FAILED
    assert "visits that do not hold: 1; set aside: 0" in done.exception.sentence()
    assert "3 visits: 1 broken, 2 closed" in done.output
    assert "broken: 0001" in done.output
    found = {line["name"]: line for line in lines_of(results)}
    assert {name: line["verdict"] for name, line in found.items()} == {
        "0000": "closed", "0001": "broken", "0002": "closed"
    }  # fmt: skip
    assert found["0001"]["found"]["first_bad"] == 5
    assert found["0000"]["found"]["anchor"] == "enrolled"
    again = fleet("verify", root, "--workers", 1, "--results", results)
    assert "3 were done before" in again.output
    assert len(lines_of(results)) == 3


def test_what_hangs_kills_or_takes_too_much_is_set_aside_after_two_tries(visits, tmp_path):
    """Each is named with its reason; all others finish; a link in a record is refused before it is worked on."""
    root, results = visits(8), tmp_path / "found.jsonl"
    for name, how in (("0001", "hang"), ("0002", "die"), ("0003", "hog")):
        (root / name / "odd").write_text(how)
    (root / "0005" / "ledger.jsonl").rename(tmp_path / "elsewhere")
    (root / "0005" / "ledger.jsonl").symlink_to(tmp_path / "elsewhere")
    summary = worked_through(root, results, longest_s=12.0)
    assert summary.verdicts == {"closed": 4}
    assert set(summary.set_aside) == {"0001", "0002", "0003"}
    assert "longer than 12 s" in summary.set_aside["0001"]
    assert "exit code 7" in summary.set_aside["0002"]
    assert "too much memory" in summary.set_aside["0003"]
    assert set(summary.refused) == {"0005"}
    tries = Counter(line["name"] for line in lines_of(results) if line["state"] == "failed")
    assert tries == {"0001": 2, "0002": 2, "0003": 2}


def driver(root, results, starts):
    command = [sys.executable, "-c", "import odd_work; odd_work.main()", "here", str(root), str(results)]
    environment = {**os.environ, "STARTS": str(starts), "PYTHONPATH": os.pathsep.join(sys.path)}
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, start_new_session=True)


def killed_at_moments(visits, tmp_path, kills, count):
    """Kill the driver as often at moments that chance chooses; return how often each visit was begun."""
    root, results, starts = visits(count), tmp_path / "found.jsonl", tmp_path / "starts"
    moments = random.Random(kills)
    for _ in range(kills):
        begun = len(starts.read_text().splitlines()) if starts.exists() else 0
        running = driver(root, results, starts)
        while (len(starts.read_text().splitlines()) if starts.exists() else 0) <= begun and running.poll() is None:
            time.sleep(0.02)
        time.sleep(moments.uniform(0, 0.5))
        os.kill(running.pid, signal.SIGKILL)
        running.communicate()
    running = driver(root, results, starts)
    running.communicate(timeout=120)
    assert running.returncode == 0
    done = [line["digest"] for line in lines_of(results)]
    assert len(done) == len(set(done)) == count
    assert all(line["state"] == "done" for line in lines_of(results))
    return Counter(starts.read_text().splitlines())


@pytest.mark.parametrize(
    ("kills", "count"),
    [(2, 10), pytest.param(20, 80, marks=pytest.mark.slow("a driver is started twenty-one times"))],
)
def test_a_killed_driver_loses_nothing_and_repeats_at_most_what_was_under_way(visits, tmp_path, kills, count):
    """Two workers: a kill can cost no more than two visits and the one that waits, begun as the workers go on."""
    begun = killed_at_moments(visits, tmp_path, kills, count)
    assert len(begun) == count
    assert sum(begun.values()) - count <= 3 * kills


def test_a_line_that_a_cut_left_half_is_taken_away(visits, tmp_path):
    """What was whole before it counts; the visit of the half line is done again."""
    root, results = visits(2), tmp_path / "found.jsonl"
    worked_through(root, results, count=1)
    whole = results.read_bytes()
    results.write_bytes(whole[:-20])
    assert worked_through(root, results, count=1).done_before == 1
    assert sorted(line["name"] for line in lines_of(results)) == ["0000", "0001"]


def test_results_of_another_program_or_list_do_not_count(visits, tmp_path):
    """Else a visit stays accepted that a revoked device made."""
    results = tmp_path / "found.jsonl"
    line = {"state": "done", "name": "a", "digest": "d", "verdict": "closed", "anchor": "", "cpu_s": 1}
    results.write_text("".join(json.dumps({**line, "conditions": {"list": each}}) + "\n" for each in "ab"))
    with ResultsFile(results, {"list": "c"}) as kept:
        assert not kept.done
    with ResultsFile(results, {"list": "b"}) as kept:
        assert set(kept.done) == {"d"}


def test_results_are_refused_that_are_none_or_are_in_use(tmp_path):
    """One sentence with the line; two drivers would do everything twice."""
    (tmp_path / "no.jsonl").write_text('{"state": "done"}\n')
    with pytest.raises(Problem, match=r"no.jsonl:1: this line is no result"):
        ResultsFile(tmp_path / "no.jsonl", CONDITIONS)
    with ResultsFile(tmp_path / "a.jsonl", CONDITIONS), pytest.raises(Problem, match="another run"):
        ResultsFile(tmp_path / "a.jsonl", CONDITIONS)
    done = fleet("verify", tmp_path / "nowhere", "--results", tmp_path / "b.jsonl")
    assert "there is no such folder" in done.exception.sentence()
    assert Path(tmp_path / "a.jsonl").read_bytes() == b""


@pytest.mark.slow("records are verified by programs of their own")
def test_objects_are_verified_as_the_folders_they_were_made_of(visits, tampered, tmp_path):
    """The same digest, so what was found of the folders counts for the objects; a spoilt object does not hold."""
    root, objects, results = visits(2), tmp_path / "objects", tmp_path / "found.jsonl"
    tampered(root / "0001")
    kept = fleet("keep", root, objects)
    assert "2 visits: 2 kept, 0 were kept before" in kept.output
    first = fleet("verify", objects, "--workers", 1, "--results", results)
    assert "2 visits: 1 broken, 1 closed" in first.output
    assert "2 were done before" in fleet("verify", root, "--workers", 1, "--results", results).output
    spoilt = min(objects.rglob("*.tar"))
    spoilt.chmod(0o644)
    spoilt.write_bytes(spoilt.read_bytes()[:-1] + b"x")
    summary = worked_through(objects, tmp_path / "again.jsonl", count=1, work=carry_out)
    assert summary.verdicts["unreadable"] == 1
    assert not list(Path(tmp_path).glob("**/visit-*"))
