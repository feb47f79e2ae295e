"""What a device takes, keeps, refuses, and goes back to."""

from __future__ import annotations

import io
import threading
import zipfile
from contextlib import suppress
from dataclasses import replace
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.bundles.archive import Bundle, bundle_of
from handsfree.bundles.statement import Withdrawal, line_of, signed
from handsfree.bundles.taken import TakenBundles
from handsfree.commands import releasing
from handsfree.commands.app import app
from handsfree.ledger.clock import stamp
from handsfree.office.signatures import KeyHolder
from handsfree.problem import Problem
from handsfree.release import taking
from handsfree.release.making import Author, made
from handsfree.release.taking import listing, take
from handsfree.visit.standing import chosen
from tests.release.conftest import DAY, NOW, STRANGER, Stopped
from tests.release.test_making import changed


@pytest.fixture
def brought(tmp_path: Path, released: Bundle) -> Path:
    """A stick with the first version."""
    folder = tmp_path / "stick"
    folder.mkdir()
    (folder / released.name).write_bytes(released.content)
    return folder


@pytest.fixture
def second(beside: Path, author: Author, released: Bundle) -> Bundle:
    """Version 1.0.1, of other words."""
    changed(beside, ("Look inside.", "Look at the inside."), ("1.0.0", "1.0.1"))
    return made(beside, author, now=NOW + DAY, days=30, before=released)


def withdrawal(author: Author, *versions: str) -> bytes:
    says = {"procedure": "one-check", "versions": list(versions), "why": "a lock was left out", "at": stamp(NOW)}
    return line_of(signed(Withdrawal, says, author.listed, KeyHolder(author.key))) + b"\n"


def test_a_bundle_is_taken_and_leads(brought: Path, device: TakenBundles) -> None:
    assert device.led_by("one-check") is None
    (one,) = take(str(brought), device)
    assert (one.refused, one.says) == (False, "one-check 1.0.0, approved by A. Author until 2026-03-31, is in use")
    bundle = device.led_by("one-check")
    assert bundle is not None
    assert bundle.approval.version == "1.0.0"
    assert take(str(brought), device)[0].says.endswith("is here already")


def _every_change(content: bytes) -> dict[str, bytes]:
    """Return bundles that somebody changed: a file, a file more, a file less, the approval, bytes cut off."""

    def packed(changes: dict[str, bytes | None]) -> bytes:
        made_of = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(content)) as was, zipfile.ZipFile(made_of, "w") as now:
            files = {name: was.read(name) for name in was.namelist()} | changes
            for name, data in files.items():
                if data is not None:
                    now.writestr(name, data)
        return made_of.getvalue()

    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        text, approval = archive.read("procedure/one-check.yaml"), archive.read("approval.json")
    return {
        "a file changed": packed({"procedure/one-check.yaml": text.replace(b"Look", b"Hook")}),
        "a file more": packed({"procedure/more.yaml": b"x"}),
        "a file less": packed({"words.json": None}),
        "a path outside": packed({"../outside.yaml": b"x"}),
        "a longer approval": packed({"approval.json": approval.replace(b"2026-03-31", b"2036-03-31")}),
        "another version": packed({"approval.json": approval.replace(b'"version":"1.0.0"', b'"version":"9.0.0"')}),
        "no approval": packed({"approval.json": None}),
        "cut off": content[:-40],
        "a bomb": packed({"procedure/more.yaml": b"\0" * (3 << 20)}),
        "nothing": b"",
    }


CHANGES = (
    "a bomb", "a file changed", "a file less", "a file more", "a longer approval", "a path outside",
    "another version", "cut off", "no approval", "nothing",
)  # fmt: skip


@pytest.mark.parametrize("how", CHANGES)
def test_a_changed_bundle_is_refused_and_the_last_good_one_stays(
    brought: Path, released: Bundle, device: TakenBundles, how: str
) -> None:
    take(str(brought), device)
    (brought / "one-check-9.0.0.zip").write_bytes(_every_change(released.content)[how])
    refused = [one for one in take(str(brought), device) if one.refused]
    assert [one.what for one in refused] == ["one-check-9.0.0.zip"]
    assert device.in_use("one-check") == "1.0.0"
    assert device.led_by("one-check") is not None


def test_no_damaged_byte_stops_what_else_is_brought(brought: Path, released: Bundle, device: TakenBundles) -> None:
    """A byte here and there: refused, or the bundle all the same; and what unpacks to nothing, by three ways."""
    content = released.content
    for place in range(0, len(content), 211):
        damaged = bytearray(content)
        damaged[place] ^= 0xFF
        with suppress(Problem):
            assert bundle_of(bytes(damaged), "damaged") == released
    packed = content.index(b"approval.json") + len(b"approval.json")
    wrong = content[:packed] + b"\xff" * 8 + content[packed + 8 :]
    (brought / "a.zip").write_bytes(wrong)  # a block of the kind that RFC 1951, 3.2.3, reserves
    ways = [
        wrong.replace(b"PK\x01\x02\x14\x03\x14\0\0\0\x08\0", b"PK\x01\x02\x14\x03\x14\0\0\0%c\0" % way)
        for way in (12, 14)
    ]
    for number, data in enumerate(ways):
        assert data != wrong
        (brought / f"b{number}.zip").write_bytes(
            data.replace(b"PK\x03\x04\x14\0\0\0\x08", b"PK\x03\x04\x14\0\0\0%c" % (12, 14)[number])
        )
    (brought / "a-link.zip").symlink_to(brought / released.name)
    told = take(str(brought), device)
    assert [(one.what, one.refused) for one in told] == [
        ("a-link.zip", True), ("a.zip", True), ("b0.zip", True), ("b1.zip", True), (released.name, False),
    ]  # fmt: skip
    with pytest.raises(Problem, match="this is no address"):
        take("http://[x", device)


def test_who_signed_must_be_an_author_on_the_device_s_list(
    brought: Path, released: Bundle, device: TakenBundles
) -> None:
    """A supervisor's key signs well, and approves nothing."""
    listed = device.enrolment.keys[STRANGER.public]
    says = released.approval.model_dump(mode="json", exclude={"kind", "format", "by", "signature"})
    with pytest.raises(ValueError, match="author"):
        signed(type(released.approval), says, listed, KeyHolder(STRANGER))
    strangers = type(listed)(STRANGER.public, "A. Author", listed.role.AUTHOR, listed.valid_from)
    forged = Bundle(signed(type(released.approval), says, strangers, KeyHolder(STRANGER)), released.files)
    (brought / released.name).write_bytes(forged.content)
    (one,) = take(str(brought), device)
    assert one.refused
    assert "the key that signed for author A. Author is that of supervisor A. Supervisor" in one.says


def test_a_revoked_author_dates_nothing_back_and_nobody_approves_for_ever(
    brought: Path, device: TakenBundles, author: Author, released: Bundle, clock: Stopped
) -> None:
    """What was taken while the key stood goes on; what the same key signs to an earlier day is refused."""

    def approved(at: int, days: int) -> Bundle:
        says = released.approval.model_dump(mode="json", exclude={"kind", "format", "by", "signature"})
        says |= {"at": stamp(at), "valid_until": stamp(at + days * DAY)}
        return Bundle(signed(type(released.approval), says, author.listed, KeyHolder(author.key)), released.files)

    take(str(brought), device)
    clock.wall = NOW + 2 * DAY
    (brought / released.name).write_bytes(approved(NOW + 1, 1097).content)
    assert "longer than 1096 days" in take(str(brought), device)[0].says
    revoked = replace(author.listed, valid_until=stamp(NOW + DAY))
    device = replace(device, enrolment=replace(device.enrolment, keys={author.listed.key: revoked}))
    (brought / released.name).write_bytes(approved(NOW + 1, 1096).content)
    assert "A. Author is author no more since 2026-03-02" in take(str(brought), device)[0].says
    (brought / released.name).write_bytes(released.content)
    assert take(str(brought), device)[0].says.endswith("is here already")
    assert device.led_by("one-check") == released


def test_an_approval_runs_out_and_a_clock_set_back_counts_as_the_day_of_the_newest_in_use(
    brought: Path, device: TakenBundles, clock: Stopped, second: Bundle
) -> None:
    """30 days; then no visit. A clock before the day of the newest approval counts as that day."""
    take(str(brought), device)
    clock.wall = NOW + 30 * DAY - 1
    assert device.led_by("one-check") is not None
    clock.wall = NOW + 30 * DAY
    with pytest.raises(Problem, match="its approval ran out at 2026-03-31"):
        device.led_by("one-check")
    clock.wall = NOW + 2 * DAY
    device.keep(second)
    clock.wall = NOW - 400 * DAY
    assert device.now() == NOW + DAY


def test_a_withdrawn_version_leads_no_visit_and_there_is_a_way_back(
    brought: Path, device: TakenBundles, author: Author, second: Bundle, clock: Stopped
) -> None:
    clock.wall = NOW + 2 * DAY
    take(str(brought), device)
    (brought / second.name).write_bytes(second.content)
    assert [one.says.rpartition(", ")[2] for one in take(str(brought), device)] == [
        "is here already",
        "is in use after 1.0.0",
    ]
    (brought / "withdrawn.jsonl").write_bytes(withdrawal(author, "1.0.1"))
    told = take(str(brought), device)
    assert told[0].says == "1 new withdrawal"
    assert "A. Author withdrew it" in next(one.says for one in told if one.refused)
    with pytest.raises(Problem, match="a lock was left out"):
        device.led_by("one-check")
    assert device.back("one-check") == "1.0.0"
    bundle = device.led_by("one-check")
    assert bundle is not None
    assert bundle.approval.version == "1.0.0"
    with pytest.raises(Problem, match=r"no version of one-check before 1\.0\.0"):
        device.back("one-check")
    (brought / "withdrawn.jsonl").write_bytes(
        withdrawal(author, "1.0.0")
    )  # an older or other list takes nothing back
    take(str(brought / "withdrawn.jsonl"), device)
    assert {version for one in device.withdrawals().whole for version in one.versions} == {"1.0.0", "1.0.1"}


@pytest.mark.parametrize("away", [False, True])
def test_a_withdrawal_counts_however_many_bundles_lie_beside_it(
    brought: Path, device: TakenBundles, author: Author, monkeypatch: pytest.MonkeyPatch, *, away: bool
) -> None:
    """More than are taken at once: none is taken, which is told; what is withdrawn leads no visit all the same."""
    take(str(brought), device)
    for number in range(taking.MOST_AT_ONCE):
        (brought / f"one-check-0.0.{number}.zip").touch()
    (brought / "withdrawn.jsonl").write_bytes(withdrawal(author, "1.0.0"))
    assert listing(brought).splitlines()[:2] == ["withdrawn.jsonl", "one-check-0.0.0.zip"]
    listed = b"\n".join(sorted(listing(brought).encode().split()))
    lying = {"bundles.txt": listed, "withdrawn.jsonl": (brought / "withdrawn.jsonl").read_bytes()}
    monkeypatch.setattr(taking, "_fetched", lambda address: lying[address.rpartition("/")[2]])
    with pytest.raises(Problem, match="201 bundles are there, and 200 at most"):
        take("https://bundles.example" if away else str(brought), device)
    with pytest.raises(Problem, match="a lock was left out"):
        device.led_by("one-check")


def test_a_half_damaged_list_withdraws_what_it_still_says_and_lets_nothing_else_lead(
    brought: Path, device: TakenBundles, author: Author
) -> None:
    """What a damaged line withdrew is not known: as strict as before, and the whole lines say why."""
    take(str(brought), device)
    lost = withdrawal(author, "9.9.9")
    kept = device.folder / "withdrawn.jsonl"
    kept.write_bytes(lost[:-40] + b"\n" + withdrawal(author, "1.0.1"))
    assert [one.versions for one in device.withdrawals().whole] == [("1.0.1",)]
    with pytest.raises(Problem, match=r"may be withdrawn by a line that does not hold .*withdrawn\.jsonl:1"):
        device.led_by("one-check")
    with pytest.raises(Problem, match=r"withdrawn\.jsonl:1"):
        device.withdrawals().must_be_whole()
    (brought / "withdrawn.jsonl").write_bytes(withdrawal(author, "0.0.1"))
    take(str(brought / "withdrawn.jsonl"), device)
    with pytest.raises(Problem, match="does not hold"):  # another line mends nothing
        device.led_by("one-check")
    (brought / "withdrawn.jsonl").write_bytes(lost)
    take(str(brought / "withdrawn.jsonl"), device)
    assert device.led_by("one-check") is not None
    assert {one.versions for one in device.withdrawals().must_be_whole()} == {("9.9.9",), ("1.0.1",), ("0.0.1",)}


def test_another_withdrawal_that_begins_alike_mends_no_line(
    brought: Path, device: TakenBundles, author: Author
) -> None:
    """Cut off before its signature, a line may be any of that author's: it was dropped with what it withdrew."""
    take(str(brought), device)
    (device.folder / "withdrawn.jsonl").write_bytes(withdrawal(author, "1.0.0")[:40])
    (brought / "withdrawn.jsonl").write_bytes(withdrawal(author, "0.0.1"))
    take(str(brought / "withdrawn.jsonl"), device)
    with pytest.raises(Problem, match="may be withdrawn by a line that does not hold"):
        device.led_by("one-check")


def test_of_a_half_damaged_list_that_is_brought_the_whole_lines_count(
    brought: Path, device: TakenBundles, author: Author
) -> None:
    take(str(brought), device)
    (brought / "withdrawn.jsonl").write_bytes(b"{torn\n" + withdrawal(author, "1.0.0"))
    (told, *_) = take(str(brought), device)
    assert told.refused
    assert "1 new withdrawal; the rest does not hold" in told.says
    with pytest.raises(Problem, match="a lock was left out"):
        device.led_by("one-check")


def test_bundles_without_the_word_which_is_used_lead_nothing_and_no_example_takes_their_place(
    brought: Path, device: TakenBundles
) -> None:
    take(str(brought), device)
    (device.folder / "one-check" / "in-use").unlink()
    with pytest.raises(Problem, match="nothing says which of them is used"):
        device.led_by("one-check")
    assert device.names() == ["one-check"]
    take(str(brought), device)
    assert device.led_by("one-check") is not None


def test_a_forged_withdrawal_stops_nothing(brought: Path, device: TakenBundles, author: Author) -> None:
    take(str(brought), device)
    (brought / "withdrawn.jsonl").write_bytes(withdrawal(author, "1.0.0").replace(b"left out", b"left off"))
    assert any(one.refused for one in take(str(brought), device))
    assert device.led_by("one-check") is not None


def test_a_withdrawal_by_somebody_not_on_the_list_is_told(
    brought: Path, device: TakenBundles, author: Author
) -> None:
    """It stops nothing, and whoever takes it learns that it was there."""
    stranger = Author(STRANGER, replace(author.listed, key=STRANGER.public))
    (brought / "withdrawn.jsonl").write_bytes(withdrawal(author, "1.0.1") + withdrawal(stranger, "1.0.0"))
    told = take(str(brought), device)
    assert told[0].says.startswith(
        "1 new withdrawal; 1 NOT TAKEN: this device's enrolment list names no such author"
    )
    assert device.led_by("one-check") is not None


def test_an_older_version_is_kept_but_does_not_take_over(
    brought: Path, device: TakenBundles, released: Bundle, second: Bundle, clock: Stopped
) -> None:
    """Whoever brings an old stick changes nothing; the same version of other content is refused."""
    clock.wall = NOW + 2 * DAY
    device.keep(second)
    assert take(str(brought), device)[0].says.endswith("is kept; 1.0.1 stays in use")
    other = second.approval.model_copy(update={"procedure_sha256": "0" * 64})
    with pytest.raises(Problem, match=r"another procedure was taken as one-check 1\.0\.1"):
        device.keep(Bundle(other, second.files))
    del released


def test_one_damaged_bundle_stops_no_other_and_is_mended_by_taking_it_again(
    brought: Path,
    device: TakenBundles,
    released: Bundle,
    second: Bundle,
    clock: Stopped,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nor does a copy that somebody laid beside it, nor a bundle under the name of another."""
    clock.wall = NOW + 2 * DAY
    device.keep(released)
    device.keep(second)
    (device.folder / "one-check" / "1.0.0 (copy).zip").write_bytes(released.content)
    assert device.versions("one-check") == ["1.0.0", "1.0.1"]
    other = device.folder / "another" / "1.0.0.zip"
    other.parent.mkdir()
    for content in (b"", released.content):
        other.write_bytes(content)
        other.with_name("in-use").write_text("1.0.0")
        assert device.led_by("one-check") == second
        with pytest.raises(Problem, match=r"1\.0\.0\.zip: this is (no bundle|the bundle of one-check 1\.0\.0)"):
            device.led_by("another")
    monkeypatch.setattr(releasing.TakenBundles, "here", lambda *_: device)
    told = CliRunner().invoke(app, ["take"]).output.splitlines()
    assert [line.partition(": ")[2][:8] for line in told] == ["NOT USED", "kept", "in use"]
    damaged = device.folder / "one-check" / "1.0.1.zip"
    damaged.write_bytes(second.content[:-9])
    with pytest.raises(Problem, match="this is no bundle"):
        device.led_by("one-check")
    (brought / second.name).write_bytes(second.content)
    assert [one.refused for one in take(str(brought), device)] == [False, False]
    assert device.led_by("one-check") == second


def test_where_nobody_can_read_which_is_used_nothing_else_leads(
    brought: Path, device: TakenBundles, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not the example of that name either; only what was never taken leaves it to the example."""
    take(str(brought), device)
    monkeypatch.setenv("HANDSFREE_STATE", str(device.folder.parent))
    used = device.folder / "one-check" / "in-use"
    for content in (b"", b"\xff", b"../1.0.0"):
        used.write_bytes(content)
        with pytest.raises(Problem, match="nobody knows which bundle is used"), chosen("one-check"):
            pass
    used.unlink()
    used.mkdir()
    with pytest.raises(Problem, match="which bundle is used"), chosen("one-check"):
        pass
    used.rmdir()
    with pytest.raises(Problem, match="nothing says which of them is used"), chosen("one-check"):
        pass
    assert device.in_use("never-taken") is None
    used.write_bytes(b"\xff")
    assert take(str(brought), device)[0].says.endswith("is in use")
    assert device.led_by("one-check") is not None


def test_a_device_takes_from_an_address(brought: Path, device: TakenBundles) -> None:
    """By the list that lies there; a real server of the standard library."""

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    (brought / "bundles.txt").write_text(listing(brought) + "../../etc/passwd\n")
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(brought))) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        address = f"http://127.0.0.1:{server.server_address[1]}"
        assert [one.refused for one in take(address, device)] == [False]
        assert take(f"{address}/one-check-1.0.0.zip", device)[0].says.endswith("is here already")
        with pytest.raises(Problem, match="this address gives nothing"):
            take(f"{address}/nowhere", device)
        server.shutdown()
        thread.join()


def test_a_bundle_is_read_back_as_it_was_made(released: Bundle) -> None:
    assert bundle_of(released.content, "again") == released
