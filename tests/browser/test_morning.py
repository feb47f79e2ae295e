"""A supervisor's morning by keyboard: thirty visits in one pass, hazards, figures."""

import itertools
import socket
import threading
import time

import pytest
from lists import NAMED, SUPERVISOR, enrol_devices
from random_visits import record_random
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

uvicorn = pytest.importorskip("uvicorn", reason="the extra `desk` is not installed")

from handsfree.desk.examination import examine  # noqa: E402
from handsfree.desk.guard import Door  # noqa: E402
from handsfree.desk.index import Index  # noqa: E402
from handsfree.desk.site import Desk  # noqa: E402

MIX = [("safe-isolation", seed) for seed in range(100, 114)] + [
    ("extract-terminal", seed) for seed in range(100, 114)
]
MIX += [("split-cooling-charge", seed) for seed in (6, 7)]


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    """An index of thirty visits: some left out a step, one or two were stopped, most are clean."""
    root = tmp_path_factory.mktemp("morning")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(root / "state"))
        for name, seed in MIX:
            record_random(root / "visits" / f"{name}-{seed}", name, seed)
        listed = enrol_devices(root / "visits", root / "state")
        index = Index(root / "visits", root / "index.sqlite", enrolment=listed)
        index.scan()
        for key, folder in index.unchecked(50):
            index.keep(key, examine(folder, listed))
        yield index


@pytest.fixture(scope="module")
def desk(morning):
    """The address of a desk over them."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    application = Desk(morning, Door(), SUPERVISOR).application()
    server = uvicorn.Server(uvicorn.Config(application, port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://localhost:{port}"
    server.should_exit = True
    thread.join(timeout=10)


class Hands:
    """Two hands on a keyboard, and how often they strike."""

    def __init__(self, browser):
        self.browser, self.struck = browser, 0

    def strike(self, *keys):
        """Strike keys one after another; a key that leads elsewhere is waited for."""
        for key in keys:
            ActionChains(self.browser).send_keys(key).perform()
            self.struck += 1

    def until_elsewhere(self, was):
        """Wait until the page is another one, and ready."""
        ready = "return document.readyState === 'complete'"
        WebDriverWait(self.browser, 30).until(lambda b: b.current_url != was and b.execute_script(ready))


@pytest.mark.slow("thirty visits are invented, examined, and signed in a browser")
def test_a_morning_of_thirty_visits_by_keyboard(browser, desk, morning, shots):
    """By danger: a question, a colleague, a refusal; clean ones singly and together; a hazard; the figures.

    A clean one takes "a" and Enter; one that is not clean is returned, passed on or refused, or passed over.
    """
    clean = {row.key: row.clean for row in (morning.store.one(key) for key in morning.store.waiting())}
    assert len(clean) == len(MIX) == 30
    assert 15 <= sum(clean.values()) <= 29
    ways = itertools.cycle((("q", "returned"), ("p", "passed on"), ("x", "not accepted"), ("", "")))
    seen, strokes, given = [], {}, {}
    browser.get(desk)
    hands = Hands(browser)
    was = browser.current_url
    hands.strike("n")
    hands.until_elsewhere(was)
    while sum(clean[key] for key in seen) < SINGLY:
        key = (was := browser.current_url).rsplit("/", 1)[-1]
        seen.append(key)
        before = hands.struck
        letter, verdict = ("a", "accepted") if clean[key] else next(ways)
        if clean[key]:
            hands.strike("a", Keys.ENTER)
        elif letter:
            hands.strike(letter, *"why?", Keys.TAB, Keys.ENTER)
        else:
            hands.strike("n")
        hands.until_elsewhere(was)
        strokes[key], given[key] = hands.struck - before, verdict
    assert max(strokes[key] for key in seen if clean[key]) <= 3
    assert set(given.values()) >= {"accepted", "returned", "passed on"}
    dangers = [morning.store.one(key).danger for key in seen]
    assert dangers == sorted(dangers, reverse=True)
    assert {key: morning.store.one(key).signed for key in seen} == given

    browser.get(desk)
    browser.execute_script("window.here = true")
    hands.strike("c", Keys.ENTER)  # what is left of the clean ones, each signed
    WebDriverWait(browser, 60).until(lambda b: b.execute_script("return !window.here"))
    signed = {key: morning.store.one(key).signed for key in clean}
    assert all(signed[key] == "accepted" for key in clean if clean[key])
    assert {key: signed[key] for key in clean if not clean[key]} == {
        k: v for k, v in given.items() if not clean[k]
    }
    browser.save_screenshot(str(shots / "morning-after.png"))
    browser.get(desk)
    waiting = sum(verdict in {"", "passed on"} for verdict in signed.values())  # a colleague's verdict is to come
    assert f"{waiting} wait for a verdict" in browser.page_source

    browser.get(f"{desk}/hazards")
    hazard = browser.find_element(By.CSS_SELECTOR, ".hazard").get_attribute("id")
    hands.strike("t", Keys.ENTER)
    owned = f"//li[@id='{hazard}']//strong[text()='{NAMED}']"
    WebDriverWait(browser, 30).until(lambda b: b.find_elements(By.XPATH, owned))
    hands.strike("d", *"seen to", Keys.TAB, Keys.ENTER)
    WebDriverWait(browser, 30).until(lambda b: not b.find_elements(By.CSS_SELECTOR, f".hazard[id='{hazard}']"))
    assert "seen to" in browser.page_source

    browser.get(f"{desk}/across")
    table = browser.execute_async_script(CSV)
    assert table["kind"].startswith("text/csv")
    assert len(table["text"].splitlines()) > 1


SINGLY = 3
"""Clean visits that are accepted one by one; the others together."""
CSV = """
const done = arguments[0], link = document.querySelector("a[href*='csv']");
fetch(link.href).then(async (got) => done({ kind: got.headers.get("content-type"), text: await got.text() }));
"""
