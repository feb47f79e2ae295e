"""Signatures drawn on the phone: taken where the author wants them, kept beside the record, set on the paper."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from mouth import Mouth
from pypdf import PdfReader
from recorded import ToldClock
from rehearsed import JOB_SHEET
from starlette.testclient import TestClient

from handsfree.desk.customer import customers_page
from handsfree.desk.customer_pdf import customer_pdf
from handsfree.desk.dossier import open_dossier
from handsfree.events import inputs as inp
from handsfree.glance.presses import Turnstile, code_of
from handsfree.glance.site import Relay, Site
from handsfree.glance.strokes import LONGEST_DRAWING, strokes_in
from handsfree.glance.watching import LiveScreen
from handsfree.ledger import verify
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.session.signing import may_sign
from handsfree.visit.conductor import Conductor
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, spoken
from handsfree.visit.replaying import replay_of

PROCEDURE = """\
handsfree: 2
procedure: small
title: Signing, tried
purpose: Signatures are taken.
gates:
  - {id: lit, kind: confirm, title: Lit, source: a test, prompt: Light it., done: [lit], firing: true}
  - {id: sign, kind: confirm, title: Signatures, source: a test, prompt: Will they sign?,
     done: [customer signs], signed_by: [technician, customer]}
  - {id: finish, kind: finish, title: Finish, source: none}
"""
DRAWING = json.dumps([[10, 20, 500, 380, 990, 20], [10, 200, 990, 200]]).encode()


class Closet:
    """A visit, its screen, and whoever conducts it, one look at the page at a time."""

    def __init__(self, folder: Path) -> None:
        file = folder / "small.yaml"
        file.write_text(PROCEDURE, encoding="utf-8")
        self.recorder, _ = Recorder.begin(folder / "visit", *load_plan(file, JOB_SHEET), clock=ToldClock())
        self.live, self.mouth = LiveScreen(self.recorder, listening=False, words=True), Mouth()
        self.conductor = Conductor(self.recorder, self.mouth, None, None, signing=self.live)

    def says(self, words: str) -> list[str]:
        self.recorder.take(inp.SpeechEnded(at=self.recorder.now()))
        return spoken(self.recorder.take(inp.Typed(at=self.recorder.now(), text=words)))

    def signs(self, whose: str, drawing: bytes = DRAWING) -> None:
        self.live.sign(whose, drawing)
        self.conductor._sign()  # what the loop does at each turn

    @property
    def kept(self) -> int:
        return len(list((self.recorder.folder / "personal").iterdir()))


@pytest.fixture
def closet(tmp_path: Path, keys: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Closet]:
    monkeypatch.setenv("HANDSFREE_STATE", str(keys))
    made = Closet(tmp_path)
    yield made
    made.recorder.release()


def test_it_is_taken_at_its_gate_alone_and_once(closet: Closet) -> None:
    """Not while firing, not with a hazard open: then nothing of it is kept."""
    before = closet.kept
    closet.signs("customer")
    assert (closet.kept, closet.live.signs) == (before, ())
    assert closet.mouth.notes == ["A signature came when none is taken; it is not kept."]
    closet.says("lit")
    assert closet.live.signs == ("technician", "customer")
    closet.signs("customer")
    assert (closet.kept, closet.live.signs) == (before + 1, ("technician",))
    closet.signs("customer")
    closet.says("I smell gas")
    closet.signs("technician")
    assert (closet.kept, closet.live.signs) == (before + 1, ())


def test_the_record_holds_a_commitment_and_the_paper_the_drawing(closet: Closet) -> None:
    closet.says("lit")
    closet.signs("customer")
    closet.says("customer signs")
    closet.says("confirmed")
    folder = closet.recorder.folder
    assert closet.recorder.state.outcome == "finished"
    assert b"990, 20" not in (folder / "ledger.jsonl").read_bytes()
    assert verify(folder, replay=replay_of(folder)).whole
    page = customers_page(open_dossier(folder))
    assert [(one.whose, one.strokes[1]) for one in page.drawn] == [("customer", [(10, 200), (990, 200)])]
    pdf = PdfReader(io.BytesIO(customer_pdf(open_dossier(folder))))
    assert "Customer, signed on the phone at" in "".join(each.extract_text() for each in pdf.pages)
    drawn = b"".join(each.get_contents().get_data() for each in pdf.pages)  # type: ignore[union-attr]
    (file,) = [one for one in (folder / "personal").iterdir() if b"990, 20" in one.read_bytes()]
    file.unlink()
    (gone,) = customers_page(open_dossier(folder)).drawn
    assert (gone.strokes, "the drawing is no longer here" in gone.says) == ([], True)
    without = PdfReader(io.BytesIO(customer_pdf(open_dossier(folder))))
    assert drawn.count(b" l ") > b"".join(
        each.get_contents().get_data()
        for each in without.pages  # type: ignore[union-attr]
    ).count(b" l ")


@pytest.mark.parametrize("drawing", [
    b"", b"[]", b"{}", b"[[1,2]]", b"[[1,2,3]]", b"[[1,2,3,4.5]]", b"[[0,0,1001,0]]", b"[[0,0,5,401]]",
    b"[" * 9000, json.dumps([[1, 1] * 2001]).encode(), json.dumps([[1, 1, 2, 2]] * 65).encode(), b"\xff",
])  # fmt: skip
def test_what_is_no_drawing_is_refused(drawing: bytes) -> None:
    with pytest.raises((ValueError, RecursionError)):
        strokes_in(drawing)


def test_what_is_no_drawing_is_not_kept(closet: Closet) -> None:
    closet.says("lit")
    before = closet.kept
    closet.signs("customer", b"[[1,2]]")
    closet.signs("anybody")
    assert closet.kept == before
    assert may_sign(closet.recorder.plan, closet.recorder.state) == ("technician", "customer")


def test_nobody_signs_where_anything_fires(tmp_path: Path) -> None:
    file = tmp_path / "small.yaml"
    file.write_text(PROCEDURE.replace("firing: true", "firing: true, signed_by: [customer]"), encoding="utf-8")
    with pytest.raises(Problem, match="nobody signs where anything fires"):
        load_procedure(file)


def test_the_page_takes_a_drawing_by_the_key_code_alone() -> None:
    """HMAC-SHA-256 (RFC 2104) over whose it is and the SHA-256 of the drawing: another one needs another code."""
    came: list[tuple[str, bytes]] = []
    relay = Relay(b"", lambda *_: None, lambda: None, lambda whose, drawing, _count: came.append((whose, drawing)))
    site = Site(relay, "view", Turnstile("key"))
    with TestClient(site.application(), base_url="https://127.0.0.1") as phone:

        def post(count: int, drawing: bytes, meant: bytes = DRAWING, key_code: str = "key") -> int:
            key = f"signature customer {hashlib.sha256(meant).hexdigest()}"
            headers = {"X-Glance-Count": str(count), "X-Glance-Code": code_of(key_code, count, key)}
            return phone.post("/signature/customer", content=drawing, headers=headers).status_code

        assert post(1, DRAWING) == 204
        assert post(2, DRAWING, meant=b"[[1,1,2,2]]") == 403
        assert post(3, DRAWING, key_code="view") == 403
        assert post(1, DRAWING) == 409
        assert post(4, b"[]", meant=b"[]") == 400
        assert post(5, b" " * (LONGEST_DRAWING + 1)) == 413
        assert phone.post("/signature/customer", content=DRAWING).status_code == 403
    assert came == [("customer", DRAWING)]
