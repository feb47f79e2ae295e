"""Sign-off: signed, chained, naming the closed head; the ledger never changes, a changed line is told."""

import hashlib
import json

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from handsfree.desk.signoff import SupervisorKey, sign_off, sign_offs
from handsfree.ledger import verify
from handsfree.problem import Problem


def signed(short, **more):
    report = verify(short / "first")
    given = {"by": "A. Supervisor", "verdict": "accepted", "remark": ""} | more
    return report, sign_off(report, **given)


def test_a_signoff_verifies_by_the_standards_alone(short):
    """RFC 8785 bytes (rfc8785) under an RFC 8032 signature (cryptography), naming the head: no code of ours."""
    report, _ = signed(short)
    (line,) = (short / "first" / "signoff.jsonl").read_bytes().splitlines()
    members = json.loads(line)
    seal = bytes.fromhex(members.pop("seal"))
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(members["key"])).verify(seal, rfc8785.dumps(members))
    last = (short / "first" / "ledger.jsonl").read_bytes().splitlines()[-1]
    assert members["digest"] == hashlib.sha256(last).hexdigest()
    assert members["count"] == report.head.count


def test_the_ledger_is_not_touched_and_still_verifies(short):
    """Signing adds one file and changes none."""
    before = (short / "first" / "ledger.jsonl").read_bytes()
    signed(short)
    assert (short / "first" / "ledger.jsonl").read_bytes() == before
    assert verify(short / "first").ok


def test_a_second_signoff_is_chained_to_the_first(short):
    """Both stand, in order, and hold."""
    signed(short)
    report, _ = signed(short, verdict="to be redone", remark="clock the meter again")
    found = sign_offs(report)
    assert [each.verdict for each in found] == ["accepted", "to be redone"]
    assert not any(each.fault for each in found)


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (lambda text: text.replace("accepted", "not accepted"), "signature"),
        (lambda text: text.replace("A. Supervisor", "B. Supervisor"), "signature"),
        (lambda text: text.replace('"kind":"signed-off"', '"kind":"something"'), "not a sign-off"),
        (lambda text: "{}\n" + text, "line before"),
        (lambda text: "not json\n" + text, "line before"),
    ],
)
def test_a_changed_line_is_told(short, change, fault):
    """Whatever is changed, the line no longer holds and says why."""
    report, _ = signed(short)
    path = short / "first" / "signoff.jsonl"
    path.write_text(change(path.read_text()))
    assert fault in sign_offs(report)[-1].fault


def test_a_signoff_moved_to_another_visit_is_told(short):
    """It names the visit it was made for."""
    signed(short)
    (short / "second" / "signoff.jsonl").write_bytes((short / "first" / "signoff.jsonl").read_bytes())
    assert "another visit" in sign_offs(verify(short / "second"))[0].fault


def test_an_unclosed_or_broken_record_cannot_be_signed_off(short):
    """Only a closed head can be named."""
    ledger = short / "first" / "ledger.jsonl"
    ledger.write_bytes(b"\n".join(ledger.read_bytes().splitlines()[:-1]) + b"\n")
    for name in ("first", "tampered"):
        with pytest.raises(Problem, match="only a closed record"):
            sign_off(verify(short / name), by="A", verdict="accepted", remark="")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"by": " "}, "who makes it"),
        ({"verdict": "fine"}, "is no verdict"),
        ({"verdict": "not accepted"}, "say in the remark"),
        ({"remark": "x" * 4001}, "longer than"),
    ],
)
def test_bad_input_is_told_in_a_sentence(short, given, says):
    """Each wrong form has its sentence, and nothing is written."""
    with pytest.raises(Problem, match=says):
        signed(short, **given)
    assert not (short / "first" / "signoff.jsonl").exists()


def test_the_key_is_its_owners_alone_and_stays_the_same(short, tmp_path):
    """Mode 600, made once."""
    del short
    key = SupervisorKey(tmp_path / "mine")
    assert key.public() == SupervisorKey(tmp_path / "mine").public()
    assert (tmp_path / "mine" / "supervisor.key").stat().st_mode & 0o777 == 0o600
