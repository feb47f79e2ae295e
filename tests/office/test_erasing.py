"""A person's data lies beside the record: erased it verifies and says so; anything else missing is a finding."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest
from lists import NAMED, STRANGER, SUPERVISOR, device_of, known_supervisor, list_of
from small_visits import HOUR, Ahead
from visits import tone

from handsfree.desk.fuller_copy import fill_up
from handsfree.ledger import (
    CLOSED,
    DeviceKey,
    FaultClass,
    Ledger,
    RecordVerdict,
    VerificationReport,
    export,
    read,
)
from handsfree.ledger.personal import (
    LARGEST_PAYLOAD,
    LONGEST_TEXT,
    NOT_HERE,
    Committed,
    committed,
    data_in,
    names_of,
)
from handsfree.objects.folder import ObjectFolder
from handsfree.objects.keeping import fetch_visit, keep_erased, keep_visit
from handsfree.office.endorsing import merge
from handsfree.office.enrolment import Enrolment, read_enrolment
from handsfree.office.erasing import carry_out, data_of, erase
from handsfree.office.verification import verify_anchored
from handsfree.problem import Problem

NAME = "Wanda Made-Up"
WHY = "asked for by the person"


def named_visit(folder: Path, pieces: list[Committed]) -> Path:
    """Record a visit that commits to a name and a licence, with two sounds, and enrol its device."""
    named = [
        {"commitment": one.commitment, "whose": "technician", "what": what}
        for one, what in zip(pieces, ("name", "licence"), strict=True)
    ]
    state = folder.parent / "tablet"
    given = {"state": state, "device": DeviceKey(state, uses=8), "clock": Ahead(-HOUR)}
    opening = {"technician": pieces[0].in_text, "personal": named}
    with Ledger.create(folder, opening, personal=pieces, **given) as ledger:
        ledger.append([("heard", {"sound": ledger.keep_sound(tone(1), 16_000)}) for _ in range(2)])
        ledger.append([(CLOSED, {})])
    list_of(folder.parent / "office.jsonl", [device_of(folder)])
    return folder


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The visit that all look at, each a copy: recording it costs ten times as much."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        place = tmp_path_factory.mktemp("recorded") / "one"
        return named_visit(place, [committed(NAME.encode()), committed(b"licence 77")])


@pytest.fixture
def here(recorded: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    shutil.copy(recorded.parent / "office.jsonl", tmp_path)
    return shutil.copytree(recorded, tmp_path / "one")


def listed(folder: Path) -> Enrolment:
    return read_enrolment(folder.parent / "office.jsonl")


def checked(folder: Path) -> VerificationReport:
    return verify_anchored(folder, listed(folder))


def erased(folder: Path, person: str = "technician") -> None:
    data = data_of(folder, person)
    assert data is not None
    erase(folder, data, SUPERVISOR, listed(folder), reason=WHY)


def bytes_of(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in sorted(folder.rglob("*")) if file.is_file())


def test_a_name_stands_nowhere_in_the_record_and_its_file_answers_to_the_commitment(here: Path) -> None:
    """SHA-256 (FIPS 180-4) by hashlib alone: 32 bytes of salt, then the name."""
    assert NAME.encode() not in (here / "ledger.jsonl").read_bytes()
    (name, licence) = list(data_in(next(iter(read(here))).event))
    file = (here / "personal" / name.commitment).read_bytes()
    assert hashlib.sha256(file).hexdigest() == name.commitment
    assert file[32:] == NAME.encode()
    assert file[:32] != (here / "personal" / licence.commitment).read_bytes()[:32]
    assert hashlib.sha256(NAME.encode()).hexdigest() != name.commitment


def test_the_same_sound_kept_twice_has_two_names(here: Path) -> None:
    """The clips are salted too: who has a copy of a sound cannot tell by it which visit holds it."""
    sounds = sorted((here / "sound").iterdir())
    assert len(sounds) == 2
    assert all(hashlib.sha256(file.read_bytes()).hexdigest() == file.stem for file in sounds)


@pytest.mark.parametrize("person", ["technician", NAME])
def test_an_erased_visit_verifies_and_says_so(here: Path, person: str) -> None:
    """Erased by role or by name, with the voice; no byte of the name is left, and exit code 0 is right."""
    assert checked(here).sentence.endswith(checked(here).head.checksum)  # type: ignore[union-attr]
    ledger = (here / "ledger.jsonl").read_bytes()
    erased(here, person)
    report = checked(here)
    assert (report.verdict, report.ok, report.findings) == (RecordVerdict.CLOSED, True, ())
    assert "2 pieces of personal data and 2 sounds were erased on 20" in report.sentence
    assert report.sentence.endswith(f"by {NAMED}, reason: {WHY}")
    assert NAME.encode() not in bytes_of(here)
    assert (here / "ledger.jsonl").read_bytes() == ledger


def test_what_is_missing_without_a_statement_is_a_finding(here: Path) -> None:
    next((here / "personal").iterdir()).unlink()
    assert [each.fault for each in checked(here).findings] == [FaultClass.PERSONAL_MISSING]


def test_a_swapped_payload_is_a_finding(here: Path) -> None:
    """Another name under the old salt, and two pieces that changed places."""
    one, two = sorted((here / "personal").iterdir())
    was = one.read_bytes()
    one.write_bytes(was[:32] + b"Somebody Else")
    assert checked(here).fault == FaultClass.PERSONAL_ALTERED
    one.write_bytes(two.read_bytes())
    two.write_bytes(was)
    assert {each.fault for each in checked(here).findings} == {FaultClass.PERSONAL_ALTERED}


def test_an_erasure_signed_by_a_stranger_is_a_finding_and_excuses_nothing(here: Path) -> None:
    data = data_of(here, "technician")
    assert data is not None
    with pytest.raises(Problem, match="is not enrolled"):
        erase(here, data, STRANGER, listed(here), reason=WHY)
    other = known_supervisor()
    own = Enrolment(other.office, STRANGER.key, own=True, head=other.head, keys={
        STRANGER.key: type(other.keys[SUPERVISOR.key])(
            STRANGER.key, NAMED, other.keys[SUPERVISOR.key].role, other.keys[SUPERVISOR.key].valid_from
        )
    })  # fmt: skip
    erase(here, data, STRANGER, own, reason=WHY)
    faults = {each.fault for each in checked(here).findings}
    assert faults == {FaultClass.ENDORSEMENT, FaultClass.PERSONAL_MISSING, FaultClass.SOUND_MISSING}


def test_an_erasure_carried_to_another_visit_excuses_nothing(here: Path, tmp_path: Path) -> None:
    erased(here)
    (tmp_path / "b").mkdir()
    other = named_visit(tmp_path / "b" / "two", [committed(NAME.encode()), committed(b"licence 77")])
    shutil.copy(here / "endorsements.jsonl", other)
    shutil.rmtree(other / "personal")
    faults = {each.fault for each in checked(other).findings}
    assert faults == {FaultClass.ENDORSEMENT, FaultClass.PERSONAL_MISSING}


def test_a_salt_used_twice_is_a_finding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who knows one of the two payloads, and so its salt, could try names against the other."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    files = [b"s" * 32 + text for text in (NAME.encode(), b"licence 77")]
    pieces = [Committed(hashlib.sha256(file).hexdigest(), file) for file in files]
    assert checked(named_visit(tmp_path / "one", pieces)).fault == FaultClass.SALT_REPLAYED


def test_erased_data_that_is_put_back_is_a_finding_until_it_is_erased_again(here: Path, tmp_path: Path) -> None:
    shutil.copytree(here, tmp_path / "backup")
    erased(here)
    shutil.copytree(tmp_path / "backup" / "personal", here / "personal", dirs_exist_ok=True)
    assert {each.fault for each in checked(here).findings} == {FaultClass.ERASED_IS_THERE}
    assert carry_out(here, listed(here)) == 4
    assert checked(here).ok


def test_a_fuller_copy_brings_no_erased_sound_back(here: Path, tmp_path: Path) -> None:
    shutil.copytree(here, tmp_path / "stick")
    erased(here)
    assert fill_up(here, tmp_path / "stick", next(iter(read(here))).digest, ()) == 0
    assert checked(here).ok


def test_what_was_signed_at_the_office_is_erased_on_the_device(here: Path, tmp_path: Path) -> None:
    device = tmp_path / "device"
    shutil.copytree(here, device)
    erased(here)
    merge(device, here)
    carry_out(device, listed(here))
    assert NAME.encode() not in bytes_of(device)
    assert checked(device).ok


def test_objects_are_kept_anew_and_the_old_ones_are_gone(here: Path, tmp_path: Path) -> None:
    store = ObjectFolder(tmp_path / "objects")
    store.begin()
    old = keep_visit(here, store).digest
    erased(here)

    def clean(laid_out: Path, folder: Path) -> None:
        merge(laid_out, folder)
        carry_out(laid_out, listed(here))

    identity = next(iter(read(here))).digest
    assert keep_erased(store, {identity: here}, clean) == [old]
    (new,) = store.digests()
    fetch_visit(store, new, tmp_path / "fetched")
    assert verify_anchored(tmp_path / "fetched", listed(here)).ok
    assert NAME.encode() not in bytes_of(tmp_path / "objects")


def test_an_erasure_says_why_and_a_crash_in_it_is_completed_by_doing_it_again(here: Path) -> None:
    data = data_of(here, "technician")
    assert data is not None
    with pytest.raises(Problem, match="says why"):
        erase(here, data, SUPERVISOR, listed(here), reason=" ")
    erased(here)
    lines = (here / "endorsements.jsonl").read_bytes()
    erased(here)
    assert (here / "endorsements.jsonl").read_bytes() == lines
    assert data_of(here, "Nobody Here") is None


def test_an_erasure_signs_what_was_altered_or_gone_before(here: Path) -> None:
    """Else a swapped clip would become an erased one, and nobody could tell."""
    swapped, gone = sorted((here / "sound").iterdir())
    swapped.write_bytes(b"other words")
    gone.unlink()
    assert {each.fault for each in checked(here).findings} == {FaultClass.SOUND_ALTERED, FaultClass.SOUND_MISSING}
    erased(here)
    report = checked(here)
    assert report.ok
    assert report.sentence.endswith(f"reason: {WHY} (before it: 1 altered and 1 not there of 4)")


def test_what_no_entry_names_goes_too_and_nothing_of_it_before(here: Path) -> None:
    """A crash between keeping a signature and recording it leaves a file that belongs to somebody."""
    (here / "personal" / ("a" * 64)).write_bytes(NAME.encode())
    (here / "sound" / ("b" * 64 + ".flac.part")).write_bytes(b"a voice")
    assert carry_out(here, listed(here)) == 0
    assert NAME.encode() in bytes_of(here)
    erased(here)
    assert not [*(here / "personal").iterdir(), *(here / "sound").iterdir()]


def test_a_link_in_the_place_of_a_folder_is_not_followed(here: Path, tmp_path: Path) -> None:
    """Else who lays a folder's link chooses what is deleted where."""
    (here / "personal").rename(tmp_path / "elsewhere")
    (here / "personal").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(Problem, match="a link"):
        erased(here)
    assert len(list((tmp_path / "elsewhere").iterdir())) == 2


def test_a_name_is_found_as_people_write_it(here: Path) -> None:
    assert data_of(here, f" {NAME.upper()} ") == data_of(here, NAME)


def test_an_older_record_is_found_by_the_name_that_it_holds_and_says_that_it_stays(
    tmp_path: Path, recorded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before schema 13 the first entry held the name itself: the voice can be erased, the name cannot."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    state = recorded.parent / "tablet"
    with Ledger.create(tmp_path / "old", {"technician": NAME}, state=state, device=DeviceKey(state, uses=8),
                       clock=Ahead(-HOUR)) as ledger:  # fmt: skip
        ledger.append([("heard", {"sound": ledger.keep_sound(tone(1), 16_000)})])
        ledger.append([(CLOSED, {})])
    data = data_of(tmp_path / "old", NAME)
    assert data is not None
    assert data == data_of(tmp_path / "old", "technician")
    done = erase(tmp_path / "old", data, SUPERVISOR, listed(recorded), reason=WHY)
    assert (done.pieces, done.sounds, done.still_named) == (0, 1, 1)


def test_a_payload_beyond_all_size_is_not_read(here: Path) -> None:
    """A record may commit to anything: the desk must not spend its memory on it, nor write it out."""
    vast, long = b"s" * 32 + b"a" * (LARGEST_PAYLOAD + 1), b"s" * 32 + b"a" * (LONGEST_TEXT + 1)
    names = names_of(here)
    for file in (vast, long):
        (here / "personal" / hashlib.sha256(file).hexdigest()).write_bytes(file)
    assert names.payload(hashlib.sha256(vast).hexdigest()) is None
    assert names.told(f"personal:{hashlib.sha256(long).hexdigest()}") == NOT_HERE


def test_a_copy_of_persons_data_is_for_its_owner_alone(here: Path, tmp_path: Path) -> None:
    export(here, tmp_path / "copy", sound=True)
    modes = {file.stat().st_mode & 0o777 for file in (tmp_path / "copy" / "personal").iterdir()}
    assert (modes, (tmp_path / "copy" / "personal").stat().st_mode & 0o777) == ({0o600}, 0o700)
