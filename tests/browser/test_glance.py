"""The technician's page in a real browser: a real visit beside it, led from the phone, lost and found again."""

import hmac
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait
from starlette.responses import Response

from tests.programs import keyed_visit, page_address

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "glance" / "support"), str(ROOT / "tests" / "session" / "support")]

from rehearsed import at  # noqa: E402
from told import Told  # noqa: E402
from trusting import CHROMIUM, DRIVER, telephone  # noqa: E402

from handsfree.doorway import tls_context  # noqa: E402
from handsfree.glance.authority import Authority, own_names  # noqa: E402
from handsfree.glance.web import Page  # noqa: E402
from handsfree.ledger import read  # noqa: E402
from handsfree.serving import Server, listen  # noqa: E402

PROCEDURE = ROOT / "tests" / "commands" / "one-reading.yaml"
JOB_SHEET = ROOT / "handsfree" / "demo" / "jobsheet.yaml"
AXE = (
    "const done = arguments[0], kinds = ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice'];"
    "axe.run({runOnly: kinds})"
    ".then((r) => done(JSON.stringify({bad: r.violations.map((v) => [v.id, v.nodes.length, v.nodes[0].html]),"
    " good: r.passes.length})))"
)


@pytest.fixture
def visit(tmp_path):
    """A visit of four gates, led by keys, with its page; yields (process, address, folder)."""
    folder = tmp_path / "visit"
    with subprocess.Popen(
        keyed_visit(PROCEDURE, JOB_SHEET, folder, "--plain", "--glance-web", "127.0.0.1:0"),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ,
    ) as process:
        address = page_address(process)
        assert address.startswith("https://127.0.0.1:")
        yield process, address, folder
        process.send_signal(signal.SIGCONT)
        process.kill()


@pytest.fixture
def phone(tmp_path):
    """A telephone's browser that has taken the device's certificate in."""
    if not (Path(CHROMIUM).exists() and Path(DRIVER).exists() and shutil.which("certutil")):
        reason = "Debian's packages chromium, chromium-driver and libnss3-tools are not installed"
        pytest.fail(reason) if os.environ.get("CI") else pytest.skip(reason)
    driver = telephone(tmp_path / "home")
    yield driver
    driver.quit()


def until(phone, condition, seconds=60):
    return WebDriverWait(phone, seconds, poll_frequency=0.1).until(condition)


def headline(phone, text, seconds=60):
    until(phone, lambda b: b.find_element(By.ID, "headline").text == text, seconds)


def touch(phone, key, after=0.5):
    time.sleep(after)
    phone.find_element(By.CSS_SELECTOR, f'[data-key="{key}"]').click()


def in_view(phone, what):
    """Say whether all that is chosen stands above the keys, with nothing over it, without any scrolling."""
    return phone.execute_script(
        "const keys = document.getElementById('keys').getBoundingClientRect();"
        "return [...document.querySelectorAll(arguments[0])].every((one) => {"
        "const r = one.getBoundingClientRect();"
        "return r.top >= 0 && r.left >= 0 && r.right <= innerWidth && r.bottom <= keys.top && r.height > 0"
        "&& one.contains(document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2)); })",
        what,
    )


def clean(phone, axe):
    """Say what axe-core finds on the page as it is now."""
    phone.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    result = json.loads(phone.execute_async_script(AXE))
    assert result["good"] > 8
    return result["bad"]


@pytest.mark.slow("a browser and a visit")
def test_a_visit_is_led_from_the_phone(visit, phone, axe, shots):
    """Confirm, a value by digits, its read-back; axe-core finds nothing at any of them, and STOP stops."""
    _, address, folder = visit
    phone.get(address)
    headline(phone, "Cover off.")
    phone.save_screenshot(str(shots / "glance-confirm.png"))
    assert clean(phone, axe) == []
    touch(phone, "enter")
    headline(phone, "Ambient CO?")
    touch(phone, "1")
    touch(phone, "2")
    until(phone, lambda b: b.find_element(By.CSS_SELECTOR, "#values b").text == "12")
    phone.save_screenshot(str(shots / "glance-digits.png"))
    assert clean(phone, axe) == []
    touch(phone, "enter")
    headline(phone, "Correct?")
    touch(phone, "enter", after=1.0)  # sooner it would count as the same press, held
    headline(phone, "Cover?")
    touch(phone, "offer 0")
    until(phone, lambda b: b.find_element(By.ID, "entry").text == "> fitted")
    assert clean(phone, axe) == []
    kinds = [entry.kind for entry in read(folder)]
    assert "reading-accepted" in kinds
    assert "restored" not in kinds
    touch(phone, "stop")
    until(phone, lambda b: b.find_element(By.ID, "banner").text == "STOPPED")
    headline(phone, "Burner off now. Gas cock closed. Stay clear.")
    phone.save_screenshot(str(shots / "glance-stopped.png"))
    assert clean(phone, axe) == []
    assert not phone.find_element(By.ID, "stop").is_displayed()
    assert [entry.kind for entry in read(folder)].count("stopped") == 1
    phone.find_element(By.ID, "danger").click()
    first = phone.find_element(By.CSS_SELECTOR, "#hazards button")
    assert first.text == "gas smell"
    phone.save_screenshot(str(shots / "glance-hazards.png"))
    assert clean(phone, axe) == []
    first.click()
    headline(phone, "Gas. Touch no switch. Everyone out. Call from outside.")
    assert not phone.find_element(By.ID, "hazards").is_displayed()
    until(phone, lambda b: [one.text for one in b.find_elements(By.CSS_SELECTOR, "#offers button")] == ["outside"])
    assert in_view(phone, "#offers button")
    assert [e for e in phone.get_log("browser") if e["level"] in {"SEVERE", "WARNING"}] == []


@pytest.mark.slow("a browser of its own")
def test_nothing_is_asked_of_another_machine(visit, phone):
    """Every request goes to the tool's own address, and the token is in none of them but the keys'."""
    _, address, _ = visit
    phone.get(address)
    headline(phone, "Cover off.")
    touch(phone, "down")
    time.sleep(0.5)
    own, codes = address.split("#")
    sent = [json.loads(entry["message"])["message"] for entry in phone.get_log("performance")]
    asked = [one["params"]["request"]["url"] for one in sent if one["method"] == "Network.requestWillBeSent"]
    assert len(asked) >= 5
    assert all(url.startswith((own, "data:", "about:")) for url in asked), asked
    assert not [url for url in asked if codes.split(".")[1] in url.partition("#")[0]]
    headers = [one["params"]["request"]["headers"] for one in sent if one["method"] == "Network.requestWillBeSent"]
    assert codes.split(".")[1] not in json.dumps(headers)


@pytest.mark.slow("a browser of its own")
def test_without_the_token_the_page_only_shows(visit, phone, axe):
    """No keys, and it says so."""
    _, address, _ = visit
    phone.get(address.rpartition(".")[0])
    headline(phone, "Cover off.")
    assert not phone.find_element(By.ID, "keys").is_displayed()
    assert not phone.find_elements(By.CSS_SELECTOR, "#offers button")
    assert "View only" in phone.find_element(By.ID, "viewing").text
    assert clean(phone, axe) == []


@pytest.mark.slow("a browser of its own")
@pytest.mark.real_time
def test_a_lost_tool_covers_the_picture_within_four_seconds_and_comes_back(visit, phone, axe, shots):
    """The process stands still, as a tool with a flat battery would; then it goes on."""
    process, address, _ = visit
    phone.get(address)
    headline(phone, "Cover off.")
    assert not phone.find_element(By.ID, "cover").is_displayed()
    process.send_signal(signal.SIGSTOP)
    stopped = time.monotonic()
    until(phone, lambda b: b.find_element(By.ID, "cover").is_displayed(), 10)
    assert 2.0 < time.monotonic() - stopped < 4.5
    first = phone.find_element(By.ID, "no-news").text
    assert first.startswith("NO NEWS FOR ")
    phone.save_screenshot(str(shots / "glance-lost.png"))
    assert clean(phone, axe) == []
    until(phone, lambda b: b.find_element(By.ID, "no-news").text != first, 5)
    whole = phone.execute_script(
        "const r = document.getElementById('cover').getBoundingClientRect();"
        "return r.width === innerWidth && r.height === innerHeight"
    )
    assert whole
    process.send_signal(signal.SIGCONT)
    until(phone, lambda b: not b.find_element(By.ID, "cover").is_displayed(), 10)
    touch(phone, "enter")
    headline(phone, "Ambient CO?")


@pytest.mark.slow("a browser of its own")
def test_a_tool_that_was_started_anew_is_found_again(tmp_path, phone):
    """The same address and port after a crash: the page reconnects by itself, without the keys of before."""
    told = Told(at("cover-off"))
    with Page("127.0.0.1:0", told.live, told.plan.catalogue) as page:
        address = page.url
        phone.get(address)
        until(phone, lambda b: told.turn() or b.find_element(By.ID, "headline").text == "Cover off.")
    until(phone, lambda b: b.find_element(By.ID, "cover").is_displayed(), 20)
    with Page(address.split("/")[2], told.live, told.plan.catalogue) as page:
        until(phone, lambda b: told.turn() or "Not the address" in b.find_element(By.ID, "old").text, 30)
        phone.get(page.url)  # in the same tab
        until(phone, lambda b: told.turn() or b.find_element(By.ID, "headline").text == "Cover off.", 20)


@pytest.mark.slow("a browser of its own")
def test_the_keyed_address_opened_in_a_tab_that_only_looks_has_the_keys(visit, phone, shots):
    """The same page with more behind its hash is loaded anew; what enter gives stands on the key in one piece."""
    _, address, _ = visit
    phone.get(address.rpartition(".")[0])
    headline(phone, "Cover off.")
    phone.get(address)
    until(phone, lambda b: b.find_element(By.ID, "keys").is_displayed())
    until(phone, lambda b: b.find_element(By.ID, "enter").text == "cover removed")
    fits = "const e = arguments[0]; return e.scrollWidth <= e.clientWidth && e.offsetWidth > 300"
    assert phone.execute_script(fits, phone.find_element(By.ID, "enter"))
    phone.save_screenshot(str(shots / "glance-same-tab.png"))


@pytest.mark.slow("a browser of its own")
def test_the_codes_made_on_the_phone_are_the_tools(visit, phone):
    """RFC 4231, test cases 1, 2 and 6 (a key longer than a block), and lengths around a block's end."""
    _, address, _ = visit
    phone.get(address)
    headline(phone, "Cover off.")
    cases = [("Jefe", "what do ya want for nothing?"), ("k" * 131, "Test Using Larger Than Block-Size Key")]
    cases += [("key", "x" * length) for length in (0, 1, 55, 56, 63, 64, 65, 119, 120, 500)]
    made = phone.execute_script("return arguments[0].map(([key, text]) => hmac(key, text))", cases)
    assert made[0] == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert made == [hmac.new(key.encode(), text.encode(), "sha256").hexdigest() for key, text in cases]


@pytest.mark.slow("a browser of its own")
def test_without_encryption_the_page_shows_and_says_why_it_takes_no_key(visit, phone, axe):
    """The plain address with all codes: no keys, the reason, and the certificate to take."""
    _, address, _ = visit
    phone.get(address.replace("https:", "http:"))
    headline(phone, "Cover off.")
    assert not phone.find_element(By.ID, "keys").is_displayed()
    until(phone, lambda b: "not encrypted, so no key is taken" in b.find_element(By.ID, "viewing").text)
    assert phone.find_element(By.ID, "certificate").get_attribute("href").endswith("/handsfree.crt")
    assert phone.find_element(By.ID, "certificate").is_displayed()
    assert clean(phone, axe) == []


@pytest.mark.slow("a browser of its own")
def test_a_phone_that_has_not_taken_the_certificate_in_is_not_shown_the_page(visit, phone, tmp_path):
    """The browser refuses by itself: the page of another device, whose authority it does not know."""
    _, address, _ = visit
    state = tmp_path / "other"
    Authority.of_device(own_names("127.0.0.1"), state)
    shutil.copy(state / "phone-authority.pem", Path(os.environ["HANDSFREE_STATE"]) / "phone-authority.pem")
    told = Told(at("cover-off"))
    with Page("127.0.0.1:0", told.live, told.plan.catalogue) as page:
        assert page.served.wait(60)
        phone.get(page.url)
        until(phone, lambda b: b.title == "Privacy error")
        assert "ERR_CERT_AUTHORITY_INVALID" in phone.page_source
    phone.get(address)
    headline(phone, "Cover off.")


def test_a_thief_of_the_devices_key_cannot_pose_as_another_site(phone):
    """The phone trusts the authority, and still refuses its certificate for an address outside the constraint."""
    authority = Authority.of_device(own_names("127.0.0.1"))
    stolen = Thief(authority._certificate, authority._key).identity_for(["127.0.0.2"])
    listener = listen("127.0.0.2", 0)
    with Server(listener, None, tls_context(stolen.chain, stolen.key)) as server:
        server.start(Response("never shown"))
        phone.get(f"https://127.0.0.2:{server.port}/")
        until(phone, lambda b: b.title == "Privacy error")
        assert "ERR_CERT_INVALID" in phone.page_source
        phone.get(f"http://127.0.0.2:{server.port}/")
        assert phone.find_element(By.TAG_NAME, "body").text == "never shown"


class Thief(Authority):
    """Signs for every name."""

    def covers(self, name):
        return True
