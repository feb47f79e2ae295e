"""A company on one machine: one command sets it up; killing its processes loses nothing acknowledged."""

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from evening import hold, lost_or_doubled

from handsfree.commands.company import init
from handsfree.company.configuration import FILE, CompanyConfiguration, read_configuration
from handsfree.company.founding import found
from handsfree.company.own_objects import store_program
from handsfree.company.running import ServedProcess, processes_of, run
from handsfree.office.enrolment import Role, read_enrolment
from handsfree.problem import Problem
from tests.object_store import MADE_FOR, NOT_FOUND


def test_one_command_makes_what_a_company_needs_and_says_what_is_next(tmp_path, capsys):
    secret = tmp_path / "secret"
    secret.write_text("larkmoor evening\n")
    init(tmp_path / "company", "Larkmoor Heating", reached_at=["office.example"], office_port=8471, desk_port=8470,
         embedded=True, passphrase_file=secret, start=False)  # fmt: skip
    told = capsys.readouterr().out
    assert "1. Keep a copy of" in told
    assert "https://office.example:8471" in told
    company = tmp_path / "company"
    enrolment = read_enrolment(company / "state" / "enrolment.jsonl")
    assert enrolment.office == "Larkmoor Heating"
    assert len(enrolment.of(Role.RECEIVER)) == 1
    assert (company / "state").stat().st_mode & 0o077 == 0
    assert "ExecStart=" in (company / "handsfree-company.service").read_text()
    assert read_configuration(company).names == ("office.example",)
    with pytest.raises(Problem, match="not empty"):
        found(company, read_configuration(company), "another phrase")


def test_a_shared_catalogue_is_named_to_the_desk_alone(tmp_path):
    address = "postgresql://office@localhost/visits"
    office, desk = processes_of(tmp_path, CompanyConfiguration(name="x", store=address))
    assert address in desk.arguments
    assert address not in office.arguments
    with pytest.raises(Problem, match="no address of a PostgreSQL"):
        init(tmp_path / "company", "x", store="sqlite:///visits", passphrase_file=None)


@pytest.mark.parametrize(
    ("text", "says"),
    [("", "the file"), ('{"name": ""}', "name"), ('{"name": "x", "office_port": 99999}', "office_port"),
     ('{"name": "x", "prot": 1}', "prot"), ('{"name": "x", "store": "mysql://x"}', "store")],
)  # fmt: skip
def test_settings_that_are_wrong_are_named(tmp_path, text, says):
    (tmp_path / FILE).write_text(text)
    with pytest.raises(Problem, match=says):
        read_configuration(tmp_path)


def test_a_process_that_is_killed_is_started_again_and_all_end_together(tmp_path):
    """A stand-in for the office: it sleeps."""
    said, stop = [], threading.Event()
    sleeper = ServedProcess("office", [sys.executable, "-c", "import time; time.sleep(100)"])

    def say(line):
        said.append(line)
        if len(said) == 1:
            os.kill(sleeper.process.pid, signal.SIGKILL)
        if len(said) == 3:
            stop.set()

    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        run(tmp_path, [sleeper], say, stop)
    finally:
        for number, what in before.items():
            signal.signal(number, what)
    assert said[1] == "office ended (-9); again in 0.5 s"
    assert said[2].startswith("office runs as process")
    assert sleeper.process.poll() is not None


def test_what_a_process_keeps_lies_in_the_one_folder_that_the_service_may_write(tmp_path, monkeypatch):
    """ProtectSystem=strict of systemd.exec(5) makes every other folder read-only, ~/.cache among them."""
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr("signal.signal", lambda *_: None)
    company, stop = tmp_path / "company", threading.Event()
    found(company, CompanyConfiguration(name="x"), "larkmoor evening")
    code = "from handsfree.cache import cache_folder; print(cache_folder(), file=open('told', 'w'))"
    process = ServedProcess("desk", [sys.executable, "-c", f"import os; os.chdir({str(tmp_path)!r}); {code}"])

    def say(_):
        process.process.wait(60)
        stop.set()

    run(company, [process], say, stop)
    writable = (company / "handsfree-company.service").read_text().split('ReadWritePaths="')[1].split('"')[0]
    assert Path((tmp_path / "told").read_text().strip()).is_relative_to(writable)


def test_a_passphrase_that_is_too_short_makes_no_company(tmp_path):
    with pytest.raises(Problem, match="too short"):
        found(tmp_path / "company", CompanyConfiguration(name="x"), "short")


@pytest.mark.slow("starts a company's processes, kills each, and sends through links that break")
def test_an_evening_with_every_process_killed_loses_and_doubles_nothing(room, monkeypatch):
    if store_program() is None and not (MADE_FOR and os.environ.get("CI")):
        pytest.skip(NOT_FOUND)
    monkeypatch.setenv("XDG_CACHE_HOME", str(room / "cache"))
    monkeypatch.setenv("HANDSFREE_STATE", str(room / "state"))
    evening = hold(room, devices=3, visits_each=2, longest_s=300)
    assert evening.killed == ["office", "objects", "desk", "database", "the program itself"]
    assert evening.dropped
    assert len(evening.receipts) == evening.visits == 6
    assert len(evening.signed) == 6
    assert lost_or_doubled(room, evening) == []


def test_where_there_is_no_company_it_says_so(tmp_path):
    told = subprocess.run(
        [sys.executable, "-m", "handsfree.commands.app", "company", "run", str(tmp_path)], capture_output=True,
        text=True, timeout=120, check=False,
    )  # fmt: skip
    assert told.returncode == 2
    assert "there is no company here" in told.stderr
