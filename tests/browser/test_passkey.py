"""A supervisor makes a passkey at the desk, the office enrols it, and it signs: a real browser, a virtual device.

The device is Chromium's own (W3C Web Authentication, level 2, section 11), driven by Selenium.
"""

import hashlib
import json
import shutil
from urllib.parse import unquote

import cbor2
import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from lists import OFFICE
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from handsfree.desk.guard import Door
from handsfree.desk.index import Index, key_of
from handsfree.desk.signing_in import SignedInDesks
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Passkey, Role, read_enrolment
from handsfree.office.verification import verify_anchored
from handsfree.serving import Server, listen


@pytest.fixture
def entrance(visits, tmp_path):
    """The address of a desk that people sign in to, over the same visits."""
    index = Index(visits, tmp_path / "index.sqlite", enrolment=visits.parent / "state" / NAME)
    index.scan()
    with Server(listen("127.0.0.1", 0)) as server:
        server.start(SignedInDesks(index, Door()).application())
        yield f"http://localhost:{server.port}"


def wait(browser, what):
    return WebDriverWait(browser, 30).until(what)


@pytest.mark.slow("a browser and its own programs")
def test_a_passkey_is_made_enrolled_and_signs_and_is_verified_again(with_device, desk, visits, tmp_path):
    """What is signed is the digest of the sign-off; the assertion is kept, and verified by the standards alone."""
    browser = with_device
    browser.get(f"{desk}/visit/{key_of('stopped')}")
    browser.find_element(By.CSS_SELECTOR, ".make-passkey").click()
    link = wait(browser, lambda b: b.find_element(By.CSS_SELECTOR, ".signing-says a"))
    made = json.loads(unquote(link.get_attribute("href").split(",", 1)[1]))
    listed, passkey = visits.parent / "state" / NAME, Passkey(**made["passkey"])
    add(listed, OFFICE, key=made["key"], name="P. Example", role=Role.SUPERVISOR, passkey=passkey)

    browser.refresh()
    form = browser.find_element(By.CSS_SELECTOR, "form.signing")
    form.find_element(By.CSS_SELECTOR, "input[value='not accepted']").click()
    form.find_element(By.NAME, "remark").send_keys("read and heard <through>")
    form.find_element(By.CSS_SELECTOR, ".with-passkey").click()
    wait(browser, lambda b: key_of("stopped") not in b.current_url)
    browser.get(f"{desk}/visit/{key_of('stopped')}")
    signed = wait(browser, lambda b: b.find_elements(By.CSS_SELECTOR, ".signed"))
    assert "Not accepted by P. Example" in signed[-1].text
    assert "read and heard <through>" in signed[-1].text

    line = (visits / "stopped" / "endorsements.jsonl").read_bytes().splitlines()[-1]
    members = json.loads(line)
    signature = members.pop("signature")
    leaf = hashlib.sha256(b"\x00" + rfc8785.dumps(members)).digest()
    client = json.loads(bytes.fromhex(signature["client_data"]))
    assert (client["type"], client["origin"]) == ("webauthn.get", desk)
    assert signature["root"] == leaf.hex()
    cose = cbor2.loads(bytes.fromhex(signature["public_key"]))
    over = bytes.fromhex(signature["authenticator_data"])
    over += hashlib.sha256(bytes.fromhex(signature["client_data"])).digest()
    assert (cose[1], cose[3], cose[-1]) == (1, -8, 6)  # RFC 9053: an octet key pair, EdDSA, Ed25519
    Ed25519PublicKey.from_public_bytes(cose[-2]).verify(bytes.fromhex(signature["seal"]), over)

    browser.get(f"{desk}/hazards")
    closing = browser.find_element(By.CSS_SELECTOR, f"[id^='{key_of('stopped')}-'] form.closing")
    closing.find_element(By.NAME, "words").send_keys("went there, all put back")
    closing.find_element(By.CSS_SELECTOR, ".with-passkey").click()
    closed = (visits / "stopped" / "endorsements.jsonl", 2)
    wait(browser, lambda _: len(closed[0].read_bytes().splitlines()) == closed[1])
    assert json.loads(closed[0].read_bytes().splitlines()[-1])["by"]["name"] == "P. Example"

    enrolment = read_enrolment(listed)
    assert not [f for f in verify_anchored(visits / "stopped", enrolment).findings if "signed" in f.fault]
    copy = shutil.copytree(visits / "stopped", tmp_path / "stopped")
    path = copy / "endorsements.jsonl"
    for was, becomes in (("not accepted", "to be redone"), ('"host":"localhost"', '"host":"other.test"')):
        path.write_bytes(line.replace(was.encode(), becomes.encode()) + b"\n")
        found = verify_anchored(copy, enrolment).findings
        assert [f.fault.value for f in found] == ["signed line does not hold"]


@pytest.mark.slow("a browser and its own programs")
def test_a_supervisor_makes_a_passkey_signs_in_with_it_and_signs_out(at_the_entrance, entrance, visits):
    """Nothing is shown before; the visits are afterwards, and the name; then nothing again."""
    browser, listed = at_the_entrance, visits.parent / "state" / NAME
    browser.get(f"{entrance}/visit/{key_of('stopped')}")
    assert browser.current_url == f"{entrance}/sign-in"
    assert "stopped" not in browser.find_element(By.ID, "main").text
    browser.find_element(By.CSS_SELECTOR, ".make-passkey").click()
    link = wait(browser, lambda b: b.find_element(By.CSS_SELECTOR, ".signing-says a"))
    made = json.loads(unquote(link.get_attribute("href").split(",", 1)[1]))

    def enter(name):
        browser.find_element(By.NAME, "name").send_keys(name)
        browser.find_element(By.CSS_SELECTOR, "button[type=submit]").click()

    enter("S. Example")
    says = "no supervisor of that name"
    wait(browser, lambda b: says in b.find_element(By.CSS_SELECTOR, ".signing-says").text)
    add(
        listed,
        OFFICE,
        key=made["key"],
        name="S. Example",
        role=Role.SUPERVISOR,
        passkey=Passkey(**made["passkey"]),
    )
    browser.get(f"{entrance}/sign-in")
    enter("S. Example")
    wait(browser, lambda b: b.current_url == f"{entrance}/")
    assert browser.find_element(By.CSS_SELECTOR, ".who").text == "S. Example"
    assert browser.find_elements(By.CSS_SELECTOR, f"a[href='/visit/{key_of('stopped')}']")
    browser.find_element(By.CSS_SELECTOR, "form[action='/sign-out'] button").click()
    wait(browser, lambda b: b.current_url == f"{entrance}/sign-in")
    browser.get(f"{entrance}/")
    assert browser.current_url == f"{entrance}/sign-in"
