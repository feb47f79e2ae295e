"""A supervisor's morning by keyboard: thirty visits in one pass, hazards, figures."""

import itertools
import json
from urllib.parse import unquote

import pytest
from lists import OFFICE, enrol_devices
from random_visits import record_random
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from handsfree.desk.examination import examine
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.signing_in import SignedInDesks
from handsfree.office.enrolling import add, revoke
from handsfree.office.enrolment import Passkey, Role
from handsfree.serving import Server, listen

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
def entrance(morning):
    """The address of a desk over them that people sign in to."""
    with Server(listen("127.0.0.1", 0)) as server:
        server.start(SignedInDesks(morning, Door()).application())
        yield f"http://localhost:{server.port}"


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


def says(browser, words):
    """Wait until the page says that beside its buttons."""
    WebDriverWait(browser, 30).until(
        lambda b: any(words in one.text for one in b.find_elements(By.CSS_SELECTOR, ".signing-says"))
    )


def enter(browser, hands, entrance):
    """Sign in by name and passkey."""
    browser.get(f"{entrance}/sign-in")
    browser.find_element(By.NAME, "name").click()
    hands.strike(*WHO, Keys.ENTER)


def enrolled_by_passkey(browser, hands, entrance, listed):
    """Make a passkey at the desk; the office puts it on its list. Before that nobody gets in, and reads why."""
    enter(browser, hands, entrance)
    says(browser, "no supervisor of that name has a passkey of this desk on the office's list; make one here")
    browser.find_element(By.CSS_SELECTOR, ".make-passkey").click()
    link = WebDriverWait(browser, 30).until(lambda b: b.find_element(By.CSS_SELECTOR, ".signing-says a"))
    made = json.loads(unquote(link.get_attribute("href").split(",", 1)[1]))
    passkey = Passkey(**made["passkey"])
    add(listed, OFFICE, key=made["key"], name=WHO, role=Role.SUPERVISOR, passkey=passkey)
    return made["key"]


@pytest.mark.slow("thirty visits are invented, examined, and signed in a browser")
def test_a_morning_of_thirty_visits_by_keyboard(at_the_entrance, entrance, morning, shots):
    """From signing in to signing out, each verdict by the passkey of whoever signed in.

    By danger: a question, a colleague, a refusal; clean ones singly and together; a hazard; the figures. A clean
    one takes "a" and Enter; one that is not clean is returned, passed on or refused, or passed over.
    """
    browser, hands = at_the_entrance, Hands(at_the_entrance)
    key_on_list = enrolled_by_passkey(browser, hands, entrance, morning.enrolment)
    enter(browser, hands, entrance)
    WebDriverWait(browser, 30).until(lambda b: b.current_url == f"{entrance}/")

    clean = {row.key: row.clean for row in (morning.store.one(key) for key in morning.store.waiting())}
    assert len(clean) == len(MIX) == 30
    assert 15 <= sum(clean.values()) <= 29
    ways = itertools.cycle((("q", "returned"), ("p", "passed on"), ("x", "not accepted"), ("", "")))
    seen, strokes, given = [], {}, {}
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

    browser.get(entrance)
    browser.execute_script("window.here = true")
    hands.strike("c", Keys.ENTER)  # what is left of the clean ones, each signed
    WebDriverWait(browser, 60).until(lambda b: b.execute_script("return !window.here"))
    signed = {key: morning.store.one(key).signed for key in clean}
    assert all(signed[key] == "accepted" for key in clean if clean[key])
    assert {key: signed[key] for key in clean if not clean[key]} == {
        k: v for k, v in given.items() if not clean[k]
    }
    by = {signed_by(morning.root / morning.store.one(key).path) for key in clean if signed[key]}
    assert by == {WHO}
    browser.save_screenshot(str(shots / "morning-after.png"))
    browser.get(entrance)
    waiting = sum(verdict in {"", "passed on"} for verdict in signed.values())  # a colleague's verdict is to come
    assert f"{waiting} wait for a verdict" in browser.page_source

    browser.get(f"{entrance}/hazards")
    browser.save_screenshot(str(shots / "morning-hazards.png"))
    hazard = browser.find_element(By.CSS_SELECTOR, ".hazard").get_attribute("id")
    hands.strike("t", Keys.ENTER)
    owned = f"//li[@id='{hazard}']//strong[text()='{WHO}']"
    WebDriverWait(browser, 30).until(lambda b: b.find_elements(By.XPATH, owned))
    hands.strike("d", *"seen to", Keys.TAB, Keys.ENTER)
    WebDriverWait(browser, 30).until(lambda b: not b.find_elements(By.CSS_SELECTOR, f".hazard[id='{hazard}']"))
    assert "seen to" in browser.page_source

    browser.get(f"{entrance}/across")
    table = browser.execute_async_script(CSV)
    assert table["kind"].startswith("text/csv")
    assert len(table["text"].splitlines()) > 1

    browser.get(f"{entrance}/visit/{morning.store.waiting()[0]}")
    browser.find_element(By.CSS_SELECTOR, "form[action='/sign-out'] button").send_keys(Keys.ENTER)
    WebDriverWait(browser, 30).until(lambda b: b.current_url == f"{entrance}/sign-in")
    browser.back()
    browser.refresh()
    assert browser.current_url == f"{entrance}/sign-in"

    enter(browser, hands, entrance)
    WebDriverWait(browser, 30).until(lambda b: b.current_url == f"{entrance}/")
    left = morning.store.waiting()[0]
    browser.get(f"{entrance}/visit/{left}")
    revoke(morning.enrolment, OFFICE, key=key_on_list, why="left the office")
    hands.strike("x", *"too late", Keys.TAB, Keys.ENTER)  # the page is still open before them
    says(browser, "Sign in first.")
    assert morning.store.one(left).signed == signed[left]
    enter(browser, hands, entrance)
    says(browser, "no supervisor of that name has a passkey of this desk on the office's list")


def signed_by(folder):
    """The name under the last verdict beside a record."""
    return json.loads((folder / "endorsements.jsonl").read_bytes().splitlines()[-1])["by"]["name"]


WHO = "Q. Example"
SINGLY = 3
"""Clean visits that are accepted one by one; the others together."""
CSV = """
const done = arguments[0], link = document.querySelector("a[href*='csv']");
fetch(link.href).then(async (got) => done({ kind: got.headers.get("content-type"), text: await got.text() }));
"""
