"""The desk in a real browser: Debian's Chromium driven by Selenium; skipped, with the reason, without it."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import tarfile
import threading
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "desk" / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "office" / "support"))

uvicorn = pytest.importorskip("uvicorn", reason="the extra `desk` is not installed")
webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")

from invented_visits import recorded_once  # noqa: E402
from lists import SUPERVISOR, enrol_devices  # noqa: E402
from selenium.webdriver.chrome.service import Service  # noqa: E402
from selenium.webdriver.common.virtual_authenticator import VirtualAuthenticatorOptions  # noqa: E402

from handsfree.desk.examination import examine  # noqa: E402
from handsfree.desk.guard import Door  # noqa: E402
from handsfree.desk.index import Index  # noqa: E402
from handsfree.desk.site import Desk  # noqa: E402

MAKERS = Path(__file__).parents[2] / "handsfree" / "demo" / "appliance-24.yaml"
CHROMIUM, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"


def _missing():
    if not (Path(CHROMIUM).exists() and Path(DRIVER).exists()):
        return "Debian's packages chromium and chromium-driver are not installed"
    return ""


@pytest.fixture(scope="session")
def shots(tmp_path_factory):
    """Where pictures of the pages are kept: $SCREENSHOTS, or a temporary folder."""
    folder = Path(os.environ.get("SCREENSHOTS") or tmp_path_factory.mktemp("screenshots"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def visits(tmp_path_factory):
    """One whole visit, one stopped, and a tampered copy."""
    root = shutil.copytree(recorded_once(), tmp_path_factory.mktemp("browsed"), dirs_exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(root / "state"))
        enrol_devices(root / "visits", root / "state")
        yield root / "visits"


@pytest.fixture(scope="session")
def desk(visits, tmp_path_factory):
    """The address of a desk over those visits, all of them examined."""
    reason = _missing()
    if reason:
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    listed = visits.parent / "state" / "enrolment.jsonl"
    index = Index(visits, tmp_path_factory.mktemp("index") / "index.sqlite", enrolment=listed)
    index.scan()
    for key, folder in index.unchecked():
        index.keep(key, examine(folder, listed))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    makers = visits.parent / "outgoing" / "all" / "appliances"
    makers.mkdir(parents=True)
    shutil.copy(MAKERS, makers)
    pages = Desk(index, Door(), SUPERVISOR, outgoing=visits.parent / "outgoing")
    server = uvicorn.Server(uvicorn.Config(pages.application(), port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://localhost:{port}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(scope="module")
def chromium(desk):
    """One browser for all tests of a file: its start costs as much as two of them."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-dev-shm-usage",
        "--window-size=1280,900",
        "--hide-scrollbars",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    yield driver
    driver.quit()


@pytest.fixture
def browser(desk, chromium):
    """The browser as if new; after each test its console holds no errors and every request went to the desk."""
    chromium.get("about:blank")
    for forgotten in ("Network.clearBrowserCookies", "Network.clearBrowserCache"):
        chromium.execute_cdp_cmd(forgotten, {})
    chromium.execute_cdp_cmd("Storage.clearDataForOrigin", {"origin": desk, "storageTypes": "all"})
    chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    for log in ("browser", "performance"):
        chromium.get_log(log)
    chromium.requested = []
    yield chromium
    console = [entry for entry in chromium.get_log("browser") if entry["level"] in {"SEVERE", "WARNING"}]
    requested = requests_of(chromium)
    assert not console
    assert requested
    assert all(url.startswith((desk, "data:", "about:")) for url in requested), requested


@pytest.fixture
def with_device(browser):
    """The browser with a device of its own that verifies its person by touch (W3C Web Authentication 2, 11)."""
    yield _given_a_device(browser)
    browser.remove_virtual_authenticator()


@pytest.fixture
def at_the_entrance(chromium):
    """The same where a request is refused on purpose, and another desk is asked."""
    yield _given_a_device(chromium)
    chromium.remove_virtual_authenticator()


def _given_a_device(browser):
    options = VirtualAuthenticatorOptions()
    options.protocol, options.transport = "ctap2", "internal"
    options.has_resident_key = options.has_user_verification = options.is_user_verified = True
    browser.add_virtual_authenticator(options)
    return browser


def requests_of(driver):
    """All addresses that were asked for so far."""
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            driver.requested.append(message["params"]["request"]["url"])
    return driver.requested


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """The source of axe-core (MPL-2.0), fetched from the npm registry for this test alone."""
    given = os.environ.get("AXE_CORE")
    if given:
        return Path(given).read_text("utf-8")
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("axe-core is fetched with npm, which is not installed (or set AXE_CORE to its axe.min.js)")
    folder = tmp_path_factory.mktemp("axe")
    with contextlib.suppress(subprocess.TimeoutExpired):
        subprocess.run([npm, "pack", "axe-core@4"], cwd=folder, capture_output=True, timeout=90, check=False)
    packed = next(folder.glob("axe-core-*.tgz"), None)
    if packed is None:
        pytest.skip("the npm registry could not be reached for axe-core")
    with tarfile.open(packed) as archive:
        return archive.extractfile("package/axe.min.js").read().decode()


@pytest.fixture
def axe_finds(axe):
    """What axe-core finds on the page that a browser shows, by WCAG 2.2 A and AA and its own advice."""

    def found(browser):
        browser.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
        browser.set_script_timeout(120)  # the longest page takes axe over half a minute on busy cores
        told = browser.execute_async_script(
            "const done = arguments[0], kinds = ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice'];"
            "axe.run({runOnly: kinds}).then((r) => done(JSON.stringify({good: r.passes.length,"
            " bad: r.violations.map((v) => [v.id, v.nodes.length, v.nodes[0].html])})))"
        )
        result = json.loads(told)
        assert result["good"] > 10
        return result["bad"]

    return found
