"""A supervisor's morning: thirty visits in one pass by keyboard, three keystrokes at most for a clean one."""

import socket
import threading
import time

import pytest
from lists import SUPERVISOR, enrol_devices
from random_visits import record_random
from selenium.webdriver.common.action_chains import ActionChains
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


@pytest.mark.slow("thirty visits are invented, examined, and signed one by one in a browser")
def test_thirty_visits_in_one_pass_by_keyboard(browser, desk, morning, shots):
    """A clean one takes "a" and Enter; one that is not is returned with a question, or passed over."""
    clean = {row.key: row.clean for row in (morning.store.one(key) for key in morning.store.waiting())}
    assert len(clean) == len(MIX) == 30
    assert 15 <= sum(clean.values()) <= 29
    seen, strokes = [], {}
    browser.get(desk)
    hands = Hands(browser)
    was = browser.current_url
    hands.strike("n")
    hands.until_elsewhere(was)
    while "/visit/" in (was := browser.current_url):
        key = was.rsplit("/", 1)[-1]
        seen.append(key)
        before = hands.struck
        if clean[key]:
            hands.strike("a", Keys.ENTER)
        elif len(seen) % 2:
            hands.strike("q", *"why?", Keys.TAB, Keys.ENTER)
        else:
            hands.strike("n")
        hands.until_elsewhere(was)
        strokes[key] = hands.struck - before
    assert sorted(seen) == sorted(clean)
    assert max(strokes[key] for key in seen if clean[key]) <= 3
    dangers = [morning.store.one(key).danger for key in seen]
    assert dangers == sorted(dangers, reverse=True)
    signed = {key: morning.store.one(key).signed for key in seen}
    assert all(signed[key] == "accepted" for key in seen if clean[key])
    assert "returned" in signed.values()
    browser.save_screenshot(str(shots / "morning-after.png"))
    browser.get(desk)
    assert str(sum(not value for value in signed.values())) + " wait" in browser.page_source
