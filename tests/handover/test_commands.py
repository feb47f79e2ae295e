"""`office`, `send`, `thin` and `outbox` as people run them: over TLS, the office killed and started again."""

import os
import shutil
import signal
import subprocess
import sys

import pytest
from breaking_proxies import DroppingProxy
from lists import OFFICE

from handsfree.commands.handing_over import put_ready
from handsfree.handover.credentials import request_key
from handsfree.handover.outbox import Outbox
from handsfree.ledger import verify
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add, revoke
from handsfree.office.enrolment import NAME, Role


def run(*arguments, state, code=0):
    done = subprocess.run(
        [sys.executable, "-m", "handsfree.commands.app", *map(str, arguments)], capture_output=True, text=True,
        env=os.environ | {"HANDSFREE_STATE": str(state)}, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def office(pair, port=0):
    """Start the office in a process of its own and return it with its port."""
    process = subprocess.Popen(
        [sys.executable, "-m", "handsfree.commands.app", "office", str(pair.taken), "--port", str(port)],
        stdout=subprocess.PIPE, text=True, env=os.environ | {"HANDSFREE_STATE": str(pair.office)},
    )  # fmt: skip
    return process, int(process.stdout.readline().rsplit(":", 1)[1])


def ended(process, how):
    process.send_signal(how)
    process.wait(30)
    process.stdout.close()


@pytest.mark.slow("starts the office twice and five commands, each with its own limited processes")
def test_visits_go_over_tls_while_the_link_drops_and_the_office_is_killed(pair, tmp_path):
    process, port = office(pair)
    shutil.copy(pair.office / NAME, pair.state / NAME)
    trust = pair.office / "office-authority.pem"
    try:
        told = run("send", pair.visits / "first", "--to", f"https://127.0.0.1:{port}", "--trust", trust,
                   "--inbox", tmp_path / "inbox", state=pair.state)  # fmt: skip
        assert "first: sent: Whole" in told or "first: sent" in told
        ended(process, signal.SIGKILL)
        process, port = office(pair)
        run("outbox", "ask", "tablet 1", pair.taken / "first", "Which nozzle?", state=pair.office)
        with DroppingProxy(port, every=60_000) as proxy:
            told = run("send", pair.visits, "--to", f"https://127.0.0.1:{proxy.port}", "--inbox",
                       tmp_path / "inbox", state=pair.state)  # fmt: skip
        assert proxy.dropped
        assert "first: there already" in told
        assert "second: sent" in told
        assert "about first: Which nozzle?" in told
    finally:
        ended(process, signal.SIGTERM)
    assert verify(pair.taken / "second").verdict == "closed"
    assert "clips went" in run("thin", pair.visits, "--after-days", "0", state=pair.state)
    run("verify", pair.visits / "first", state=pair.state, code=5)


def test_a_file_is_laid_ready_for_one_device_or_for_all_that_are_enrolled_now(pair, tmp_path):
    (tmp_path / "sheet.yaml").write_text("sheet")
    add(pair.office / NAME, OFFICE, key="1" * 64, name="tablet 2", role=Role.DEVICE, valid_from=BEFORE_THE_PROGRAM)
    add(pair.office / NAME, OFFICE, key="2" * 64, name="lost", role=Role.DEVICE, valid_from=BEFORE_THE_PROGRAM)
    revoke(pair.office / NAME, OFFICE, key="2" * 64, why="lost")
    put_ready("tablet 2", "appliances", [tmp_path / "sheet.yaml"])
    put_ready("all", "procedures", [tmp_path / "sheet.yaml"])
    outbox = Outbox(pair.office / "handover" / "outbox")
    assert [each.kind.value for each in outbox.waiting("1" * 64)] == ["appliances", "procedures"]
    assert [each.kind.value for each in outbox.waiting(request_key(pair.state).credential.device)] == [
        "procedures"
    ]
    assert outbox.waiting("2" * 64) == []


def test_a_device_that_knows_no_receiver_or_no_office_says_so(pair):
    told = run("send", pair.visits, "--to", "https://127.0.0.1:1", state=pair.state, code=2)
    assert "knows no receiver" in told
    assert "Traceback" not in told
