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
from selenium.webdriver.common.virtual_authenticator import VirtualAuthenticatorOptions
from selenium.webdriver.support.ui import WebDriverWait

from handsfree.desk.index import key_of
from handsfree.office.enrolling import add
from handsfree.office.enrolment import NAME, Passkey, Role, read_enrolment
from handsfree.office.verification import verify_anchored


@pytest.fixture
def with_device(browser):
    """The browser with a device that verifies its person by touch."""
    options = VirtualAuthenticatorOptions()
    options.protocol, options.transport = "ctap2", "internal"
    options.has_resident_key = options.has_user_verification = options.is_user_verified = True
    browser.add_virtual_authenticator(options)
    return browser


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
