"""Older sign-offs, with a typed name: still read, told when they do not hold, and showing nothing of a person."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from lists import SUPERVISOR, known_supervisor

from handsfree.desk.examination import examine
from handsfree.desk.signoff import TYPED, sign_offs
from handsfree.ledger import verify
from handsfree.ledger.entry import NOTHING_BEFORE, canonical, digest_of
from handsfree.office.endorsing import prepare_sign_offs, supervisor

SECRET = Ed25519PrivateKey.generate()


def signed(short, verdict="accepted", remark=""):
    """Add a line as an earlier version of the program wrote it."""
    report, path = verify(short / "first"), short / "first" / "signoff.jsonl"
    before = path.read_bytes().splitlines() if path.exists() else []
    members = {
        "at": "2026-11-20T12:00:00.000Z",
        "by": "A. Supervisor",
        "count": report.head.count,
        "digest": report.head.digest,
        "key": SECRET.public_key().public_bytes_raw().hex(),
        "kind": "signed-off",
        "prev": digest_of(before[-1]) if before else NOTHING_BEFORE,
        "remark": remark,
        "verdict": verdict,
        "visit": report.identity,
    }
    line = canonical({**members, "seal": SECRET.sign(canonical(members)).hex()})
    path.write_bytes(b"".join(each + b"\n" for each in [*before, line]))
    return report


def test_an_older_line_is_shown_and_counts_for_nobody(short):
    """Anybody could have typed the name."""
    signed(short)
    found = sign_offs(signed(short, "to be redone", "clock the meter again"), known_supervisor())
    assert [(each.verdict, each.fault, each.doubt) for each in found] == [
        ("accepted", "", TYPED),
        ("to be redone", "", TYPED),
    ]
    assert examine(short / "first").facts["signed"] == ""


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
    report = signed(short)
    path = short / "first" / "signoff.jsonl"
    path.write_text(change(path.read_text()))
    assert fault in sign_offs(report, None)[-1].fault


def test_a_line_moved_to_another_visit_is_told(short):
    """It names the visit it was made for."""
    signed(short)
    (short / "second" / "signoff.jsonl").write_bytes((short / "first" / "signoff.jsonl").read_bytes())
    assert "another visit" in sign_offs(verify(short / "second"), None)[0].fault


def test_what_a_person_signed_stands_beside_the_older_lines(short):
    """The last that counts is theirs."""
    report, enrolment = signed(short), known_supervisor()
    who = supervisor(enrolment, SUPERVISOR.key)
    prepare_sign_offs([report], who, enrolment, verdict="not accepted", remark="no meter").signed(SUPERVISOR)
    found = sign_offs(report, enrolment)
    assert [each.counts for each in found] == [False, True]
    assert (found[-1].remark, examine(short / "first").facts["signed"]) == ("no meter", "not accepted")
    assert not sign_offs(report, None)[-1].counts
