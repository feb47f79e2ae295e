"""The inbox: the dangerous first, each reason in words, list and page alike; one changed value hides no copy."""

import html
import re
import shutil
from dataclasses import replace

import pytest
from agreeing_visits import record
from authenticator import Authenticator, sign_in
from lists import NAMED, OFFICE, SUPERVISOR, enrol_devices
from random_visits import record_random
from starlette.testclient import TestClient

from handsfree.desk import examination, site
from handsfree.desk.concerns import in_order
from handsfree.desk.evidence import AssessedAs, Evidence
from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.hazards import by_visit, hazards_of_all
from handsfree.desk.index import Index, key_of
from handsfree.desk.record import load
from handsfree.desk.signing_in import SignedInDesks
from handsfree.desk.view import view_of
from handsfree.ledger import RecordVerdict
from handsfree.office.enrolling import add, revoke
from handsfree.office.enrolment import NAME, Role
from handsfree.procedure.trades import trade_data
from handsfree.shipped import procedure_path
from handsfree.store.kept import Concern, Examined, NotedVisit
from handsfree.store.wanted import ListWanted

MIX = (("safe-isolation", 100), ("safe-isolation", 101), ("extract-terminal", 1))
NAMES = (*(f"{name}-{seed}" for name, seed in MIX), "incomplete", "cut")


@pytest.fixture(scope="module")
def mix(tmp_path_factory):
    """Two clean visits, one left incomplete, one of a terminal, one cut off with things altered."""
    root = tmp_path_factory.mktemp("mix")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(root / "state"))
        for name, seed in MIX:
            record_random(root / "visits" / f"{name}-{seed}", name, seed)
        record_random(root / "visits" / "cut", "split-cooling-charge", 5, 150)
        sheet = trade_data("ventilation").example
        record(root / "visits" / "incomplete", procedure_path("extract-terminal"), sheet, {"air_flow": "dashes"})
        enrol_devices(root / "visits", root / "state")
        index = Index(root / "visits", root / "index.sqlite")
        index.scan()
        for key, folder in index.unchecked(50):
            index.keep(key, examine(folder))
    return root


@pytest.fixture
def index(mix, tmp_path, monkeypatch):
    """A copy of them, examined."""
    root = shutil.copytree(mix, tmp_path / "mix", copy_function=shutil.copy2)
    monkeypatch.setenv("HANDSFREE_STATE", str(root / "state"))
    made = Index(root / "visits", root / "index.sqlite")
    for row in made.store.find(ListWanted())[0]:  # the copies have other inodes
        made.store.signed(row.key, row.signed, row.light, site.stamp(made.root / row.path))
    return made


@pytest.fixture
def browser(index):
    desk = site.Desk(index, Door(), SUPERVISOR).application()
    return TestClient(desk, base_url="http://127.0.0.1:8470")


def told(text):
    """The words of a piece of HTML."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def row_of(page, name):
    return next(part for part in page.split("<li class=") if f"/visit/{key_of(name)}" in part)


def form_of(page):
    return dict(re.findall(r'name="(form_token|digest|then)" value="([^"]*)"', page))


def test_the_most_dangerous_stand_first_and_a_calm_row_is_calm(index, browser):
    """Still altered, then incomplete, then nothing to say."""
    rows, _ = index.store.find(ListWanted())
    folders = [row.name for row in rows]
    assert folders[0] == "cut"
    assert folders.index("incomplete") < folders.index("safe-isolation-100")
    page = browser.get("/").text
    assert "Still altered" in told(row_of(page, "cut"))
    assert "Incomplete air flow against the design" in told(row_of(page, "incomplete"))
    calm = row_of(page, "safe-isolation-100")
    assert "Nothing stands out." in calm
    assert '"calm"' in calm


def test_each_thing_left_altered_is_a_hazard_by_itself(index):
    """A fuller copy of a visit may bring a further one after the first was closed."""
    left = Evidence(load(index.root / "cut")).ending.left
    found = [one for one in hazards_of_all(index) if one.kind == "Still altered"]
    assert len({one.name for one in found}) == len(found) == len(left) > 1
    assert {one.says for one in found} == {f"{each.said} ({each.state})" for each in left}


def test_hazards_stand_one_a_card_under_their_visit(index, browser):
    """Once each card named its visit anew, those of several visits between each other."""
    found = [one for one in hazards_of_all(index) if one.kind == "Still altered"]
    other = replace(found[0], identity="another", weight=found[0].weight - 1)
    assert by_visit([found[0], other, *found[1:]]) == [found, [other]]
    page = browser.get("/hazards").text
    (of_visit,) = page.split('<section class="of-visit"')[1:]
    assert of_visit.count(f'href="/visit/{key_of("cut")}"') == 1
    cards = [told(card) for card in of_visit.split('<li class="card hazard"')[1:]]
    assert len(cards) == len(found)
    assert all(f"Still altered {one.says}" in card for one, card in zip(found, cards, strict=True))


def test_the_list_and_the_page_say_the_same_of_every_visit(index, browser):
    """Each reason of the row stands on the page, and the other way round (it was once 0 fails against 1)."""
    page = browser.get("/").text
    for name in NAMES:
        concerns = index.concerns([key_of(name)])[key_of(name)]
        own = told(browser.get(f"/visit/{key_of(name)}").text)
        for concern in concerns[:3]:
            assert concern.kind in told(row_of(page, name))
        for concern in concerns:
            assert concern.kind in own  # things of one kind share a line
            assert concern.says in own
        assert ("Nothing is left open." in own) == (not concerns)


def test_five_answers_each_with_its_sentence(browser):
    """Of a clean visit and of one with things altered."""
    page = browser.get(f"/visit/{key_of('cut')}").text
    answers = dict(re.findall(r"<dt>([^<]+)</dt><dd><span class=\"result ([a-z-]+)\"", page))
    assert list(answers) == ["Done right?", "In order?", "Settled?", "All put back?", "To be trusted?"]
    assert answers["All put back?"] == "fail"
    calm = browser.get(f"/visit/{key_of('safe-isolation-100')}").text
    assert set(re.findall(r"<dd><span class=\"result ([a-z-]+)\"", calm)) == {"pass"}


def test_a_page_opens_from_what_was_kept_while_nothing_has_changed(index, browser, monkeypatch):
    """And is examined at once when the folder has."""
    seen = []
    monkeypatch.setattr(site, "examine", lambda folder, _: seen.append(folder) or examine(folder))
    key = key_of("safe-isolation-100")
    assert browser.get(f"/visit/{key}").status_code == 200
    assert not seen
    ledger = index.root / "safe-isolation-100" / "ledger.jsonl"
    lines = ledger.read_bytes().split(b"\n")
    ledger.write_bytes(b"\n".join([*lines[:9], lines[9].replace(b'":', b'": ', 1), *lines[10:]]))
    assert "Broken" in browser.get(f"/visit/{key}").text
    assert len(seen) == 1


def test_signing_leads_to_the_next_and_what_is_returned_waits_for_its_answer(index, browser):
    """A verdict leaves the queue; a question goes to its end; what is passed on stays for another."""
    cut, first, second = index.store.waiting()[:3]
    assert cut == key_of("cut")
    assert "can be signed off" in browser.get(f"/visit/{cut}").text
    url = f"/visit/{first}/sign-off"
    values = form_of(browser.get(f"/visit/{first}").text)
    refused = browser.post(url, data={**values, "verdict": "returned", "remark": ""})
    assert refused.status_code == 422
    answer = browser.post(url, data={**values, "verdict": "returned", "remark": "why?"}, follow_redirects=False)
    assert answer.status_code == 303
    onward = browser.get(answer.headers["location"], follow_redirects=False)
    assert onward.headers["location"] == f"/visit/{second}"
    assert first not in index.store.waiting()
    assert index.store.one(first).signed == "returned"
    page = browser.get(f"/visit/{first}").text
    assert f"Returned to the technician with a question</strong> by {NAMED}" in page
    values = form_of(browser.get(f"/visit/{second}").text)
    browser.post(f"/visit/{second}/sign-off", data={**values, "verdict": "passed on", "remark": "yours"})
    assert second in index.store.waiting()
    index.scan()
    assert index.store.one(first).signed == "returned"
    assert first not in index.store.waiting()


def test_clean_visits_are_accepted_together_and_each_is_signed(index, browser):
    """Only those that are still as they were found."""
    page = browser.get("/").text
    given = re.findall(r'name="visit" value="([^"]+)"', page)
    assert {key_of(f"safe-isolation-{seed}") for seed in (100, 101)} <= {each[:16] for each in given}
    assert key_of("cut") not in {each[:16] for each in given}
    token = form_of(page)["form_token"]
    forged = browser.post("/accept", data={"form_token": token, "visit": [f"{key_of('cut')}:{'0' * 64}"]})
    assert forged.status_code == 409
    assert browser.post("/accept", data={"form_token": "x", "visit": given}).status_code == 403
    assert browser.post("/accept", data={"form_token": token, "visit": given}).status_code == 200
    for each in given:
        folder = index.root / index.store.one(each[:16]).path
        assert len((folder / "endorsements.jsonl").read_bytes().splitlines()) == 1
        assert f"Accepted</strong> by {NAMED}" in browser.get(f"/visit/{each[:16]}").text


def test_who_signed_in_by_passkey_accepts_clean_visits_together(index):
    """Only the desk's own key once could: over a network nobody accepted more than one at a time."""
    device, desk = Authenticator(), "http://localhost:8470"
    listed = index.root.parent / "state" / NAME
    add(listed, OFFICE, key=device.key, name="P. Example", role=Role.SUPERVISOR, passkey=device.passkey)
    browser = TestClient(SignedInDesks(index, Door()).application(), base_url=desk)
    sign_in(browser, device, desk, "P. Example")
    page = browser.get("/").text
    assert "each signed with the passkey of P. Example" in told(page)
    given = re.findall(r'name="visit" value="([^"]+)"', page)
    asked = {"form_token": form_of(page)["form_token"], "visits": given, "key": device.key}
    not_clean = {**asked, "visits": [*given, f"{key_of('cut')}:{'0' * 64}"]}
    assert browser.post("/accept/prepare", json=not_clean).status_code == 409
    for odd in ({"visits": []}, {"visits": [1]}, {"visits": "x"}):
        assert browser.post("/accept/prepare", json={**asked, **odd}).status_code == 400
    prepared = browser.post("/accept/prepare", json=asked).json()
    answer = device.answer(prepared["challenge"], desk)
    done = {"form_token": asked["form_token"], "token": prepared["token"], "assertion": answer}
    assert browser.post("/sign/complete", json=done).json() == {"signed": len(given), "by": "P. Example"}
    for each in given:
        assert "Accepted</strong> by P. Example" in browser.get(f"/visit/{each[:16]}").text


def test_what_is_accepted_together_is_verified_anew(index, browser):
    """The report that was kept was signed, by a list that may have changed since: here its device was revoked."""
    page = browser.get("/").text
    given = re.findall(r'name="visit" value="([^"]+)"', page)
    device = index.store.one(given[0][:16]).device
    listed = index.root.parent / "state" / NAME
    revoke(listed, OFFICE, key=device, why="lost", valid_until="2026-01-02T00:00:00.000Z")
    answer = browser.post("/accept", data={"form_token": form_of(page)["form_token"], "visit": given})
    assert answer.status_code == 409
    assert not list(index.root.rglob("endorsements.jsonl"))


def test_a_visit_that_is_signed_after_the_list_changed_is_looked_at_again(index):
    """Signing noted the list of now as the one that the visit was looked at with."""
    folder = index.root / "safe-isolation-100"
    index.scan()
    index.keep(key_of(folder.name), examine(folder))
    index.scan()
    assert key_of(folder.name) not in dict(index.unchecked(50))
    listed = index.root.parent / "state" / NAME
    revoke(listed, OFFICE, key=index.store.one(key_of(folder.name)).device, why="lost")
    index.signed([folder], "accepted")
    index.scan()
    assert key_of(folder.name) in dict(index.unchecked(50))


def stands_out(folder, **changes):
    """The kinds of what stands out of a clean visit when its report were another, and whether it is clean."""
    report = replace(examination.verified(folder), **changes)
    evidence = Evidence(load(folder), report)
    view = view_of(evidence, report)
    seal = next(item.finding for item in view.items if item.rule == "seal")
    return [f"{one.kind}: {one.says}" for one in view.concerns], view.clean, seal.result


def test_a_demo_and_a_copy_without_sound_are_not_clean(index):
    """They stood among those that are accepted together, and nothing was said of either."""
    folder = index.root / "safe-isolation-100"
    assert stands_out(folder) == ([], True, AssessedAs.PASS)
    demo = "Demo: an invented visit under a throw-away key"
    assert stands_out(folder, demo=True) == ([demo], False, AssessedAs.PASS)
    why = ("7 clips were left out of this copy",)
    reduced = stands_out(folder, verdict=RecordVerdict.REDUCED, reduced=why)
    assert reduced == ([f"Sound left out: {why[0]}"], False, AssessedAs.CANNOT_TELL)


def of_values(key, values, **facts):
    rows = {"shape": [{"value": value} for value in values]}
    return Examined(
        {"identity": key * 64, "seal": "closed", "job": f"job-{key}", "day": "2026-01-01", **facts}, rows, b"x"
    )


@pytest.mark.parametrize(("changed", "is_copy"), [(0, True), (1, True), (4, True), (15, False)])
def test_a_copy_is_found_although_some_values_were_changed(tmp_path, changed, is_copy):
    """One changed value hid a copy once; half of them make another visit. Found from both sides."""
    index = Index(tmp_path, tmp_path / "index.sqlite")
    index.store.note([NotedVisit(key, key, "", {}) for key in "ab"])
    values = [f"maximum:{number}:co2:9.{number}" for number in range(20)]
    index.keep("a", of_values("a", values))
    assert index.concerns(["a"])["a"] == ()
    index.keep("b", of_values("b", [f"{value}x" for value in values[:changed]] + values[changed:]))
    for key, other in (("a", "b"), ("b", "a")):
        kinds = [(one.kind, one.says) for one in index.concerns([key])[key]]
        same = f"the same values as in job-{other} of 2026-01-01 ({20 - changed} readings alike)"
        assert kinds == ([("Values copied", same)] if is_copy else [])
        assert (index.store.one(key).danger > 0) == is_copy
    index.keep("b", of_values("b", []))
    assert index.concerns(["a"])["a"] == ()
    assert index.store.one("a").danger == 0


def test_two_folders_of_one_record_are_no_copy_of_values(tmp_path):
    """A visit that lies in two folders is one visit."""
    index = Index(tmp_path, tmp_path / "index.sqlite")
    index.store.note([NotedVisit(key, key, "", {}) for key in "ab"])
    for key in "ab":
        index.keep(key, of_values(key, [str(number) for number in range(20)], identity="same"))
    assert index.concerns(["a"])["a"] == ()


def test_concerns_of_one_weight_stand_in_the_order_of_their_entries():
    """The graver first."""
    concerns = [
        Concern("c", "", 10, "right", 5),
        Concern("b", "", 10, "right", 2),
        Concern("a", "", 90, "back", 9),
    ]
    assert [one.kind for one in in_order(concerns)] == ["a", "b", "c"]
