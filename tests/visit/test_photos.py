"""Photos that gates want: taken at rest alone, kept without what cameras write beside them, shown, erased."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import struct
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from closet import PROCEDURE, Closet, camera, with_place
from lists import OFFICE, device_of, list_of
from PIL import Image
from pypdf import PdfReader
from rehearsed import JOB_SHEET
from starlette.testclient import TestClient
from typer.testing import CliRunner

from handsfree.commands.erasing import app as erasing_app
from handsfree.desk import printed
from handsfree.desk.customer_pdf import customer_pdf, write_customers_page
from handsfree.desk.dossier import open_dossier
from handsfree.desk.photos import photos_of
from handsfree.glance.presses import Turnstile, code_of
from handsfree.glance.site import Relay, Site
from handsfree.ledger import FaultClass, verify
from handsfree.ledger.export import export
from handsfree.ledger.personal import names_of
from handsfree.ledger.verification import BEFORE_THE_PROGRAM
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Role
from handsfree.office.erasing import data_of
from handsfree.office.kept_key import make_key
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.photo_file import LARGEST_GIVEN, LARGEST_KEPT, LARGEST_SENT, LONGEST_SIDE, Photo, kept_form
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.session.photos import MOST_AT_A_GATE
from handsfree.visit.conductor import Conductor
from handsfree.visit.photo_folder import PhotoFolder
from handsfree.visit.replaying import replay_of

LATER = "A photo came when none is wanted, or none can be taken; it is not kept."


def segments(jpeg: bytes) -> list[int]:
    """Return the markers of a JPEG up to its scan (ITU-T T.81, B.1.1)."""
    at, found = 2, []
    while jpeg[at + 1] != 0xDA:
        found.append(jpeg[at + 1])
        at += 2 + struct.unpack(">H", jpeg[at + 2 : at + 4])[0]
    return found


@pytest.fixture(scope="module", autouse=True)
def device(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """One device for all visits here: its keys take a second to make."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("device")))
        yield


@pytest.fixture
def closet(tmp_path: Path) -> Iterator[Closet]:
    made = Closet(tmp_path)
    yield made
    made.recorder.release()


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished visit with a photo of the plate, and none of the flue, because."""
    made = Closet(tmp_path_factory.mktemp("done"))
    made.photographs("plate", kept_form(with_place()))
    made.says("plate read")
    made.says("photo left out because it is too dark")
    made.says("flue seen")
    folder = made.finished()
    made.recorder.release()
    return folder


def test_a_photo_is_told_once_and_nothing_more_has_to_be_said(closet: Closet) -> None:
    assert closet.opening == ["Photo wanted: the data plate.", "Read it."]
    assert closet.says("say again") == ["Read it."]
    assert closet.says("plate read") == ["Photo wanted: the flue.", "Look at it."]
    closet.says("go back")
    assert closet.says("plate read") == ["Look at it."]


def test_no_photo_with_its_reason_and_only_where_one_is_wanted(closet: Closet) -> None:
    assert closet.says("photo left out because it is too dark") == ["No photo. Noted.", "Read it."]
    assert closet.live.photos == ()
    closet.says("plate read")
    closet.says("flue seen")
    assert closet.says("photo left out because it is hot")[0] != "No photo. Noted."
    assert closet.recorder.state.no_photo == {"plate"}


def test_it_is_taken_at_rest_alone(closet: Closet) -> None:
    """Not while firing, not with a hazard open, not for a gate not come to; later at rest, it may still come."""
    closet.photographs("flue")
    assert (closet.kept, closet.mouth.notes) == (0, [LATER])
    for _ in range(MOST_AT_A_GATE + 1):
        closet.photographs("plate")
    assert closet.kept == MOST_AT_A_GATE
    closet.says("plate read")
    closet.says("flue seen")
    assert closet.live.photos == ()
    closet.photographs("flue")
    closet.says("lit")
    assert closet.live.photos == (("flue", "the flue", 0),)
    closet.photographs("flue")
    closet.says("I smell gas")
    closet.photographs("flue")
    assert (closet.kept, closet.mouth.notes) == (MOST_AT_A_GATE + 1, [LATER] * 4)


def test_no_photo_is_asked_for_where_there_is_no_way_for_one(tmp_path: Path) -> None:
    made = Closet(tmp_path, way=False)
    assert made.opening == ["Read it."]
    made.photographs("plate")
    assert made.kept == 0
    made.recorder.release()


def test_none_is_asked_for_nor_kept_where_the_job_sheet_forbids_it(tmp_path: Path) -> None:
    """And the papers say so; what comes all the same is not kept."""
    sheet = tmp_path / "jobsheet.yaml"
    sheet.write_text(f"{JOB_SHEET.read_text('utf-8')}photos: none\n", encoding="utf-8")
    shutil.copy(JOB_SHEET.with_name("appliance-24.yaml"), tmp_path)
    made = Closet(tmp_path, sheet=sheet)
    assert made.opening == ["Read it."]
    made.photographs("plate")
    assert (made.kept, made.mouth.notes) == (0, [LATER])
    assert made.says("photo left out because it is too dark")[0] == "Not at this gate."
    made.says("plate read")
    made.says("flue seen")
    folder = made.finished()
    made.recorder.release()
    assert dict(open_dossier(folder).facts)["Photos"] == "None: the job sheet says that no picture is taken here"
    assert verify(folder, replay=replay_of(folder)).whole


@pytest.mark.parametrize(("change", "says"), [
    (("firing: true", "firing: true, photo: the flame"), "nobody takes a photo where anything fires"),
    (("title: Finish,", "title: Finish, photo: the end,"), "nobody answers here"),
])  # fmt: skip
def test_where_an_author_may_not_want_one(tmp_path: Path, change: tuple[str, str], says: str) -> None:
    """Told with the file and the line."""
    file = tmp_path / "small.yaml"
    file.write_text(PROCEDURE.replace(*change), encoding="utf-8")
    with pytest.raises(Problem, match=says) as told:
        load_procedure(file)
    assert told.value.where.startswith(f"{file}:")
    assert told.value.where.removeprefix(f"{file}:").partition(":")[0].isdecimal()


def test_only_the_picture_is_kept_upright_and_small() -> None:
    """Exif orientation 6: what is left in the file is on top (Exif 2.32, 4.6.4). Nothing else is in it."""
    given = with_place()
    assert {0xE1, 0xFE} <= set(segments(given))
    kept = kept_form(given)
    assert not {0xFE, *range(0xE1, 0xF0)} & set(segments(kept))
    assert not [word for word in (b"Exif", b"Invented Maker", b"2026:01", b"whose house") if word in kept]
    upright = Image.open(io.BytesIO(kept))
    assert (upright.size, upright.getpixel((240, 10))[0] > 200, upright.getpixel((240, 630))[2] > 200) == (
        (480, 640), True, True
    )  # fmt: skip
    noise = Image.frombytes("RGB", (3000, 2200), os.urandom(3000 * 2200 * 3))
    out = io.BytesIO()
    noise.save(out, "JPEG", quality=95)
    small = kept_form(out.getvalue())
    assert len(small) <= LARGEST_KEPT
    assert max(Image.open(io.BytesIO(small)).size) <= LONGEST_SIDE


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_other_forms_are_known_by_their_bytes(form: str) -> None:
    assert kept_form(camera(form), "plate.txt").startswith(b"\xff\xd8\xff")


@pytest.mark.parametrize(("data", "says"), [
    (b"", "no picture"), (b"%PDF-1.7", "no picture"), (camera("GIF"), "no picture"),
    (b"\0\0\0\x18ftypheic" + bytes(40), "no picture"), (camera()[:200], "damaged"),
    (b"\xff\xd8\xff" + b"x" * 500, "damaged"), (b"\x89PNG\r\n\x1a\n" + b"\0" * 60, "damaged"),
    (b"RIFF\xff\xff\xff\xffWEBP" + b"\0" * 60, "damaged"), (b"\xff\xd8\xff" + bytes(LARGEST_GIVEN), "larger than"),
    (camera("PNG", (8000, 7000)), "megapixels"),
], ids=range(10))  # fmt: skip
def test_what_is_no_picture_is_told_in_one_sentence(data: bytes, says: str) -> None:
    with pytest.raises(Problem, match=says) as told:
        kept_form(data, "a\x1b[2Jname\n.jpg")
    assert "\n" not in told.value.sentence()
    assert "\x1b" not in told.value.sentence()


def test_a_full_disk_loses_the_photo_alone(closet: Closet, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was begun of it is taken away, the visit goes on, and the photo can come again."""
    files, write = closet.recorder._ledger._files, type(closet.recorder._ledger._files).write

    def full(self: object, handle: int, data: bytes, offset: int) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(files), "write", full)
    closet.photographs("plate")
    monkeypatch.setattr(type(files), "write", write)
    (told,) = closet.mouth.notes
    assert told.startswith("The photo is not kept: ")
    assert "the disk is full" in told
    assert not [one for one in (closet.recorder.folder / "personal").iterdir() if one.suffix]
    closet.photographs("plate")
    assert closet.kept == 1
    assert closet.says("plate read")[-1] == "Look at it."


def test_the_papers_and_the_desk_show_it(done: Path) -> None:
    assert verify(done, replay=replay_of(done)).whole
    dossier = open_dossier(done)
    (photo,) = photos_of(dossier.evidence)
    picture = photo.content(names_of(done))
    assert picture is not None
    assert Image.open(io.BytesIO(picture)).size == (480, 640)
    assert dict(dossier.facts)["Photos"] == "The data plate: 1; the flue: none, because it is too dark"
    for pdf in (customer_pdf(dossier), printed.pdf(dossier)):
        pages = PdfReader(io.BytesIO(pdf)).pages
        assert len(pages) <= 4
        assert [image.image.size for page in pages for image in page.images if image.image] == [(420, 560)]
        assert "The data plate, at" in "".join(page.extract_text() for page in pages)
    assert "data:image/jpeg;base64," in printed.html(dossier)


@pytest.mark.parametrize(("harm", "fault"), [
    (lambda file: file.write_bytes(file.read_bytes() + b"x"), FaultClass.PERSONAL_ALTERED),
    (lambda file: file.unlink(), FaultClass.PERSONAL_MISSING),
])  # fmt: skip
def test_a_changed_or_a_missing_photo_is_a_finding(
    done: Path, tmp_path: Path, harm: Callable[[Path], None], fault: FaultClass
) -> None:
    """And it is shown nowhere; a copy for another machine carries it."""
    here = tmp_path / "copy"
    export(done, here, sound=True)
    (file,) = [one for one in (here / "personal").iterdir() if b"JFIF" in one.read_bytes()]
    assert not verify(here).findings
    harm(file)
    assert fault in {each.fault for each in verify(here).findings}
    assert [(one.commitment, "no longer here" in one.says) for one in photos_of(open_dossier(here).evidence)] == [
        ("", True)
    ]


def test_it_is_the_customers_and_erased_as_theirs(
    done: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the command, as the customer's page shows it: no byte stays, the record verifies and says so."""
    here, office = tmp_path / "visit", tmp_path / "office"
    monkeypatch.setenv("HANDSFREE_STATE", str(office))
    export(done, here, sound=True)
    data = data_of(here, "customer")
    assert data is not None
    assert [piece.what for piece in data.pieces] == ["photo"]
    paper = write_customers_page(here)
    assert pictures_in(paper.read_bytes()) == 1
    ledger, listed = (here / "ledger.jsonl").read_bytes(), list_of(office / NAME, [device_of(here)])
    key = tmp_path / "key.pem"
    who = make_key(key, None).public
    add(listed, OFFICE, key=who, name="B. Supervisor", role=Role.SUPERVISOR, valid_from=BEFORE_THE_PROGRAM)
    asked = ["--person", "customer", "--reason", "asked for by the owner", "--key", str(key)]
    reply = CliRunner().invoke(erasing_app, [str(here), *asked])
    assert reply.exit_code == 0, reply.output
    assert not [file for file in here.rglob("*") if file.is_file() and b"\xff\xd8\xff" in file.read_bytes()]
    assert (here / "ledger.jsonl").read_bytes() == ledger
    report = verify_anchored(here, known_enrolment(), replay=replay_of(here))
    assert (report.whole, report.findings) == (True, ())
    assert "1 piece of personal data was erased on 20" in report.sentence
    assert report.sentence.endswith("by B. Supervisor, reason: asked for by the owner")
    dossier = open_dossier(here)
    assert [one.commitment for one in photos_of(dossier.evidence)] == [""]
    for pdf in (paper.read_bytes(), printed.pdf(dossier)):
        assert pictures_in(pdf) == 0
        assert "was erased" in "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def pictures_in(pdf: bytes) -> int:
    return sum(len(page.images) for page in PdfReader(io.BytesIO(pdf)).pages)


def test_the_page_takes_a_photo_by_the_key_code_alone() -> None:
    """HMAC-SHA-256 (RFC 2104) over the gate and the photo's SHA-256; nothing is read before that is right."""
    came: list[tuple[str, bytes]] = []
    site = Site(
        Relay(
            b"", lambda *_: None, lambda: None, photographed=lambda gate, photo, _count: came.append((gate, photo))
        ),
        "view",
        Turnstile("key"),
    )
    with TestClient(site.application(), base_url="https://127.0.0.1") as phone:

        def post(count: int, photo: bytes, meant: bytes | None = None, key_code: str = "key") -> int:
            digest = hashlib.sha256(photo if meant is None else meant).hexdigest()
            headers = {
                "X-Glance-Count": str(count), "X-Glance-Digest": digest,
                "X-Glance-Code": code_of(key_code, count, f"photo gas/plate {digest}"),
            }  # fmt: skip
            return phone.post("/photo/gas/plate", content=photo, headers=headers).status_code

        photo = with_place()
        assert post(1, photo) == 204
        assert post(2, photo, meant=b"other") == 403
        assert post(3, photo, key_code="view") == 403
        assert post(1, photo) == 409
        assert post(4, b"<svg/>") == 415
        assert post(5, bytes(LARGEST_SENT + 1)) == 413
        assert phone.post("/photo/gas/plate", content=photo).status_code == 403
    assert came == [("gas/plate", kept_form(photo))]


def test_a_folder_is_watched_for_what_comes(tmp_path: Path) -> None:
    """What was there, grows, hides, leads elsewhere or is no picture is not taken, and nothing is deleted."""
    notes: list[str] = []
    (tmp_path / "old.jpg").write_bytes(camera())
    watched = PhotoFolder(tmp_path, notes.append)
    (tmp_path / "new.jpg").write_bytes(camera()[:300])
    (tmp_path / ".hidden.jpg").write_bytes(camera())
    (tmp_path / "link.jpg").symlink_to(tmp_path / "old.jpg")
    (tmp_path / "words.jpg").write_text("no picture", encoding="utf-8")
    os.mkfifo(tmp_path / "pipe.jpg")
    watched.look()
    (tmp_path / "new.jpg").write_bytes(camera())
    watched.look()
    assert watched.photo() is None
    watched.look()
    assert watched.photo() == Photo(kept_form(camera()), "folder")
    watched.look()
    assert watched.photo() is None
    assert len(notes) == 1
    assert notes[0].startswith("No photo taken: words.jpg is no picture that can be taken")
    assert len(list(tmp_path.iterdir())) == 6
    with pytest.raises(Problem, match="cannot be watched"):
        PhotoFolder(tmp_path / "none", notes.append)


def test_a_folders_photo_goes_to_the_gate_at_hand(closet: Closet) -> None:
    closet.says("plate read")
    came = [Photo(kept_form(camera()), "folder")]

    class Folder:
        def photo(self) -> Photo | None:
            return came.pop() if came else None

    Conductor(closet.recorder, closet.mouth, None, None, photos=[Folder()])._photograph()
    assert dict(closet.recorder.state.photos) == {"flue": 1}
