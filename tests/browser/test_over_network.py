"""A supervisor signs in to a desk over a network: a real browser, TLS that it trusts, a name, a passkey.

The desk is the real command on all addresses; the browser has taken this machine's own authority in, and finds the
desk's name by its own rule in place of a name server. It is as narrow as a telephone.
"""

import contextlib
import http.client
import json
import os
import shutil
import subprocess
import sys
import urllib.request
from pathlib import Path
from urllib.parse import unquote

import pytest
from invented_visits import record_visit
from lists import OFFICE, enrol_devices
from selenium.webdriver.common.by import By
from selenium.webdriver.common.virtual_authenticator import VirtualAuthenticatorOptions
from selenium.webdriver.support.ui import WebDriverWait

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "glance" / "support"))
from trusting import CHROMIUM, telephone

from handsfree.desk.index import key_of
from handsfree.office.enrolling import add, revoke
from handsfree.office.enrolment import NAME, Passkey, Role
from tests.programs import program

HOST, WHO = "desk.example", "P. Example"


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """The address of a desk over one stopped visit, as it printed it, with the name in place of all addresses."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    record_visit(tmp_path / "visits" / "stopped", stop_at="permission")
    enrol_devices(tmp_path / "visits", tmp_path / "state")
    served = program(
        "desk", tmp_path / "visits", "--host", "0.0.0.0", "--name", HOST, "--port", 0, "--sign-in", "--tls",
        "--no-hear-again",
    )  # fmt: skip
    with subprocess.Popen(served, stdout=subprocess.PIPE, text=True) as process:
        yield process.stdout.readline().strip().replace("0.0.0.0", HOST)
        process.terminate()


@pytest.fixture
def phone(tmp_path, desk):
    """A browser that trusts the machine's authority alone, with a device that verifies its person by touch."""
    assert desk
    if not (Path(CHROMIUM).exists() and shutil.which("certutil")):
        reason = "Debian's packages chromium, chromium-driver and libnss3-tools are not installed"
        pytest.fail(reason) if os.environ.get("CI") else pytest.skip(reason)
    browser = telephone(tmp_path / "home", f"--host-resolver-rules=MAP {HOST} 127.0.0.1")
    options = VirtualAuthenticatorOptions()
    options.protocol, options.transport = "ctap2", "internal"
    options.has_resident_key = options.has_user_verification = options.is_user_verified = True
    browser.add_virtual_authenticator(options)
    yield browser
    browser.quit()


def wait(browser, what):
    return WebDriverWait(browser, 30).until(what)


@pytest.mark.slow("a browser and a desk of its own")
def test_a_supervisor_signs_in_and_signs_until_the_list_says_otherwise(desk, phone, axe_finds, tmp_path, shots):
    """Nothing is told in clear, to who does not trust the desk, or before signing in; the log says who asked."""
    port = int(desk.rsplit(":", 1)[1].rstrip("/"))
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=30)) as plain:
        plain.request("GET", "/sign-in", headers={"host": f"{HOST}:{port}"})
        answer = plain.getresponse()
        assert (answer.status, b"Ask with https" in answer.read()) == (403, True)
    with pytest.raises(OSError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(f"https://127.0.0.1:{port}/", timeout=30)

    visit, listed = f"{desk}visit/{key_of('stopped')}", tmp_path / "state" / NAME

    def enter():
        phone.get(f"{desk}sign-in")
        phone.find_element(By.NAME, "name").send_keys(WHO)
        phone.find_element(By.CSS_SELECTOR, "form.signs-in button[type=submit]").click()

    phone.get(visit)
    assert phone.current_url == f"{desk}sign-in"
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 390
    assert axe_finds(phone) == []
    phone.save_screenshot(str(shots / "sign-in-phone.png"))
    phone.find_element(By.CSS_SELECTOR, ".make-passkey").click()
    link = wait(phone, lambda b: b.find_element(By.CSS_SELECTOR, ".signing-says a"))
    made = json.loads(unquote(link.get_attribute("href").split(",", 1)[1]))
    assert made["passkey"]["host"] == HOST
    add(
        listed, OFFICE, key=made["key"], name=WHO, role=Role.SUPERVISOR, passkey=Passkey(**made["passkey"])
    )  # fmt: skip
    enter()
    wait(phone, lambda b: b.current_url == desk)
    phone.get(f"{desk}visit/0123456789abcdef")
    says = "There is nothing at this address."
    assert says in phone.find_element(By.ID, "main").text
    assert axe_finds(phone) == []
    phone.get(visit)
    phone.find_element(By.CSS_SELECTOR, "form.signing input[value='returned']").click()
    phone.find_element(By.NAME, "remark").send_keys("which tap was still open?")
    phone.find_element(By.CSS_SELECTOR, ".with-passkey").click()
    wait(phone, lambda b: "/visit/" not in b.current_url)
    line = json.loads((tmp_path / "visits" / "stopped" / "endorsements.jsonl").read_bytes().splitlines()[-1])
    assert (line["by"]["name"], line["verdict"]) == (WHO, "returned")
    assert json.loads(bytes.fromhex(line["signature"]["client_data"]))["origin"] == desk.rstrip("/")
    notes = [json.loads(one) for one in (tmp_path / "state" / "desk-access.jsonl").read_text().splitlines()]
    assert {one["who"] for one in notes if one["path"] == "/sign/complete"} == {WHO}
    assert {one["who"] for one in notes if one["path"] == "/sign-in"} == {""}

    phone.get(visit)
    revoke(listed, OFFICE, key=made["key"], why="left the office")
    phone.refresh()
    assert phone.current_url == f"{desk}sign-in"
    enter()
    refused = "no supervisor of that name has a passkey of this desk"
    wait(phone, lambda b: refused in b.find_element(By.CSS_SELECTOR, ".signing-says").text)
