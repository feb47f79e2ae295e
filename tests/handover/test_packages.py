"""What is sent of a visit is its record alone, the same bytes for the same visit, whatever else lies beside it."""

from handsfree.handover.package import packed, unpacked
from handsfree.objects.archive import content_digest


def test_a_visit_comes_out_as_it_went_in_and_always_as_the_same_bytes(pair, tmp_path):
    """Its receipt is no part of it, and its digest is its object's."""
    folder = pair.visits / "first"
    before = {file.relative_to(folder): file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    first = packed(folder, tmp_path / "a.tar")
    (folder / "receipt.json").write_text("{}")
    (folder / "mine.txt").write_text("no part of the record")
    assert packed(folder, tmp_path / "b.tar").digest == first.digest == content_digest(folder)
    out = unpacked(first.file, tmp_path / "out" / "first", first.digest)
    assert {file.relative_to(out): file.read_bytes() for file in out.rglob("*") if file.is_file()} == before


def test_a_name_that_leads_elsewhere_stays_in_the_office_s_folder(pair, served):
    sender = pair.sender(served)
    package = packed(pair.visits / "first", pair.device / "spool" / "visit.tar")
    sender._upload(package)
    assert sender._taken(package, "../../.hidden/evil").status == 201
    (place,) = pair.taken.glob("[!.]*")
    assert place.parent == pair.taken
    assert "/" not in place.name
    assert not list(pair.office.parent.glob("**/evil"))
