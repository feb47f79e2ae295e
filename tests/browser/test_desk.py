"""What a supervisor does at the desk, done in a real browser."""

import base64
import io
import unicodedata

import pytest
from lists import NAMED
from pypdf import PdfReader
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select, WebDriverWait

COUNT_ENDED = """
window.ended = 0;
const play = HTMLMediaElement.prototype.play;
HTMLMediaElement.prototype.play = function () {
  this.addEventListener("ended", () => { window.ended += 1; }, { once: true });
  return play.call(this);
};
"""


def wait(browser, condition, seconds=60):
    return WebDriverWait(browser, seconds).until(condition)


def open_visit(browser, desk, seal="Whole and closed", outcome="Finished", talk=False):
    """Open the first visit of the list with that outcome whose record is in that state, or its talk."""
    browser.get(desk)
    for row in browser.find_elements(By.CSS_SELECTOR, ".inbox > li"):
        if seal in row.text and outcome in row.text:
            row.find_element(By.CSS_SELECTOR, "a.what").click()
            wait(browser, lambda b: b.find_elements(By.ID, "seal-head"))
            if talk:
                browser.find_element(By.PARTIAL_LINK_TEXT, "The talk").click()
                wait(browser, lambda b: b.find_elements(By.ID, "show"))
            return
    pytest.fail(f"no visit is {seal}")


@pytest.mark.slow("a browser of its own")
def test_list_filter_and_open(browser, desk, shots):
    """The list shows all, a filter fewer; a row opens its visit."""
    browser.get(desk)
    browser.save_screenshot(str(shots / "list.png"))
    assert len(browser.find_elements(By.CSS_SELECTOR, ".inbox > li")) == 3
    browser.find_element(By.CSS_SELECTOR, ".filtering summary").click()
    Select(browser.find_element(By.NAME, "outcome")).select_by_visible_text("Stopped, left as reported")
    browser.find_element(By.CSS_SELECTOR, ".filters button").click()
    wait(browser, lambda b: len(b.find_elements(By.CSS_SELECTOR, ".inbox > li")) == 1)
    browser.find_element(By.CSS_SELECTOR, ".inbox a.what").click()
    assert "Stopped, left as reported" in wait(browser, lambda b: b.find_element(By.CSS_SELECTOR, ".lead")).text


@pytest.mark.slow("a browser of its own")
def test_a_tampered_visit_is_shown_as_such_on_the_list_and_on_its_page(browser, desk, shots):
    """In words, on both; it cannot be signed off."""
    open_visit(browser, desk, "Broken", "Damaged")
    assert "Broken" in browser.find_element(By.ID, "seal-head").text
    browser.save_screenshot(str(shots / "tampered.png"))
    assert not browser.find_elements(By.CSS_SELECTOR, "form.signing")


@pytest.mark.slow("a browser of its own")
def test_a_line_sounds_and_the_chart_follows(browser, desk):
    """The clip is fetched, played to its end, and the playhead stands at its time."""
    open_visit(browser, desk, talk=True)
    browser.execute_script(COUNT_ENDED)
    browser.find_elements(By.CSS_SELECTOR, ".play")[5].click()
    wait(browser, lambda b: b.execute_script("return window.ended") == 1)
    head = browser.find_element(By.ID, "playhead")
    assert head.get_attribute("visibility") == "visible"
    assert float(head.get_attribute("x1")) > 92


@pytest.mark.slow("a browser of its own")
def test_the_visit_plays_on_from_a_line(browser, desk):
    """Several clips sound one after the other, the playhead moves on, and Escape ends it."""
    open_visit(browser, desk, talk=True)
    browser.execute_script(COUNT_ENDED)
    start = browser.find_elements(By.CSS_SELECTOR, ".person .on")[40]
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", start)
    start.click()
    before = float(browser.find_element(By.ID, "playhead").get_attribute("x1"))
    wait(browser, lambda b: b.execute_script("return window.ended") >= 3)
    assert float(browser.find_element(By.ID, "playhead").get_attribute("x1")) > before
    browser.find_element(By.TAG_NAME, "body").send_keys(Keys.ESCAPE)
    wait(browser, lambda b: b.find_element(By.TAG_NAME, "body").get_attribute("data-playing") == "no")


@pytest.mark.slow("a browser of its own")
def test_the_keyboard_alone_reaches_and_plays_a_line(browser, desk):
    """Tab from the filter of the talk to the first play button, and press it."""
    open_visit(browser, desk, talk=True)
    browser.execute_script(COUNT_ENDED)
    browser.execute_script("document.getElementById('show').focus()")
    for _ in range(30):
        browser.switch_to.active_element.send_keys(Keys.TAB)
        if "play" in (browser.switch_to.active_element.get_attribute("class") or "").split():
            break
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    wait(browser, lambda b: b.execute_script("return window.ended") == 1)


@pytest.mark.slow("a browser of its own")
def test_an_answer_leads_to_its_line(browser, desk):
    """From one of the five answers to the words it rests on."""
    open_visit(browser, desk)
    link = browser.find_element(By.CSS_SELECTOR, ".answers a.entry")
    number = int(link.text[1:])
    link.click()
    line = wait(browser, lambda b: b.find_element(By.CSS_SELECTOR, ".said.now"))
    assert int(line.get_attribute("id")[5:]) <= number


@pytest.mark.slow("a browser of its own")
def test_a_part_of_the_visit_can_be_looked_at_closely(browser, desk, shots):
    """The chart's links show fewer readings over a shorter time."""
    open_visit(browser, desk, talk=True)
    whole = len(browser.find_elements(By.CSS_SELECTOR, ".point"))
    browser.find_element(By.PARTIAL_LINK_TEXT, "As found at maximum").click()
    wait(browser, lambda b: 0 < len(b.find_elements(By.CSS_SELECTOR, ".point")) < whole)
    browser.find_element(By.ID, "chart").screenshot(str(shots / "chart.png"))


@pytest.mark.slow("a browser of its own")
def test_signing_off(browser, desk, shots):
    """The form writes the sign-off and leads on; the page shows it when it is opened again."""
    open_visit(browser, desk)
    address = browser.current_url
    form = browser.find_element(By.CSS_SELECTOR, "form.signing")
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", form)
    form.find_element(By.CSS_SELECTOR, "input[value=accepted]").click()
    form.find_element(By.NAME, "remark").send_keys("read and heard <through>")
    form.find_element(By.TAG_NAME, "button").click()
    wait(browser, lambda b: b.current_url != address)
    browser.get(address)
    signed = wait(browser, lambda b: b.find_elements(By.CSS_SELECTOR, ".signed"))
    assert f"Accepted by {NAMED}" in signed[-1].text
    assert "read and heard <through>" in signed[-1].text
    browser.save_screenshot(str(shots / "signed.png"))


@pytest.mark.slow("a browser of its own")
@pytest.mark.parametrize("outcome", ["Finished", "Stopped, left as reported"])
def test_the_page_prints_on_four_pages_with_nothing_folded_lost(browser, desk, shots, outcome):
    """As a PDF with the answers in it, all that they rest on, and the buttons left out."""
    open_visit(browser, desk, outcome=outcome)
    folded = browser.execute_script(
        "return [...document.querySelectorAll('details:not([open]) th')].map((e) => e.textContent)"
    )
    paper = {"printBackground": True, "preferCSSPageSize": True}
    data = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", paper)["data"])
    (shots / f"printed-{outcome[:7]}.pdf").write_bytes(data)
    pages = PdfReader(io.BytesIO(data)).pages
    text = unicodedata.normalize("NFKC", " ".join(page.extract_text() for page in pages))  # "fi" may be one letter
    text = " ".join(text.split())
    for words in ("Five answers", "What the answers rest on", "Altered, and put back", *folded):
        assert " ".join(unicodedata.normalize("NFKC", words).split()) in text
    assert "Make a passkey" not in text
    assert len(pages) <= 4


AXES = "return [...document.querySelectorAll('.chart text.axis')].map((e) => e.getBoundingClientRect().height)"
LEGIBLE = 12
"""Pixels that the writing of an axis is high at least: smaller is hard to read, common practice, no source."""


@pytest.mark.slow("six pages in a browser")
@pytest.mark.parametrize("page", ["/", "visit", "talk", "/hazards", "/across", "/appliance/LM24A0173"])
def test_a_narrow_screen_needs_no_scrolling_sideways(browser, desk, shots, page):
    """390 pixels, as a phone has."""
    if page in {"visit", "talk"}:
        open_visit(browser, desk, talk=page == "talk")
        page = browser.current_url.removeprefix(desk)
    size = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        browser.get(desk + page)
        browser.save_screenshot(str(shots / f"narrow-{page.rsplit('/', 1)[-1]}.png"))
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
        heights = browser.execute_script(AXES)
        assert bool(heights) == ("/visit/" in page or "/appliance/" in page)
        assert min(heights, default=LEGIBLE) >= LEGIBLE
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


SOME_OF_EACH = """
const met = {};
for (const line of document.querySelectorAll(".lines > li")) {
  const kind = line.className + [...line.querySelectorAll("[class]")].map((one) => one.className).join();
  met[kind] = (met[kind] || 0) + 1;
  if (met[kind] > 5) line.remove();
}
return Object.keys(met).length;
"""
"""Leaves five lines of each kind and shape of a talk: thousands alike would take axe a minute."""


@pytest.mark.slow("the browser looks at every element of seven pages, in two colour schemes")
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", ["list", "visit", "talk", "tampered", "hazards", "across", "appliance"])
def test_nothing_that_axe_finds(browser, desk, axe_finds, shots, page, scheme):
    """WCAG 2.2 A and AA as axe-core (Deque, MPL-2.0) checks them, in light and in dark."""
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    if page in {"visit", "talk"}:
        open_visit(browser, desk, talk=page == "talk")
    elif page == "tampered":
        open_visit(browser, desk, "Broken", "Damaged")
    else:
        browser.get(
            desk + {"hazards": "/hazards", "across": "/across", "appliance": "/appliance/LM24A0173"}.get(page, "/")
        )
    browser.save_screenshot(str(shots / f"{page}-{scheme}.png"))
    browser.execute_script(SOME_OF_EACH)
    assert axe_finds(browser) == []
