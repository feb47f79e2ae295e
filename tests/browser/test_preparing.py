"""A job sheet filled in by keyboard on a narrow screen, in a real browser."""

import json

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select, WebDriverWait

from handsfree.procedure.sheets import load_sheets

ANSWERS = {
    "job": "J-78",
    "site": "Orchard House",
    "technician/name": "Ines Demoville",
    "technician/licence": "invented 1",
    "serial": "SN1",
    "altitude_metre": "400 ft",
    "alert?": "yes",
    "alert/who": "the office",
    "alert/number": "0555 0100",
    "emergency_number": "0555 0112",
    "fuel": "natural gas",
    "instrument/name": "Analyser",
    "instrument/serial": "FG1",
    "instrument/calibrated_until": "30 June 2027",
    "instrument/co2": "computed",
}
"""Path of a question -> what is typed; the others are left as they stand."""
AXE = (
    "const done = arguments[0], kinds = ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice'];"
    "axe.run({runOnly: kinds}).then((r) => done(JSON.stringify(r.violations.map((v) => [v.id, v.nodes[0].html]))))"
)


def focused(browser):
    return browser.switch_to.active_element


def path_of(field):
    return (field.get_attribute("name") or "").removeprefix("answer:")


def kept(browser):
    """Wait until the desk has all that was written."""
    underway = "return document.getElementById('sheet').dataset.underway ?? '0'"
    WebDriverWait(browser, 30).until(lambda one: one.execute_script(underway) == "0")


def leave(browser):
    """Go on to the next field by keyboard, which a choice may just have opened, and wait until all is kept."""
    kept(browser)
    focused(browser).send_keys(Keys.TAB)
    kept(browser)


def clean(browser, axe):
    browser.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    browser.set_script_timeout(120)
    return json.loads(browser.execute_async_script(AXE))


@pytest.fixture
def narrow(browser):
    size = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    yield browser
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.slow("a browser, and axe on two pages")
def test_a_job_is_prepared_by_keyboard_on_a_narrow_screen(narrow, desk, visits, axe, shots):
    """A wrong answer is told when its field is left, where one types on; a question that opens appears at once."""
    narrow.get(desk + "/prepare")
    narrow.save_screenshot(str(shots / "prepare.png"))
    assert narrow.execute_script("return document.documentElement.scrollWidth") <= 390
    assert clean(narrow, axe) == []
    Select(narrow.find_element(By.NAME, "visit")).select_by_value("combustion-check")
    narrow.find_element(By.CSS_SELECTOR, ".begins button").send_keys(Keys.ENTER)
    WebDriverWait(narrow, 60).until(lambda one: one.find_elements(By.ID, "sheet"))
    height = narrow.find_element(By.NAME, "answer:altitude_metre")
    height.send_keys(Keys.CONTROL, "a")
    height.send_keys("four hundred")
    leave(narrow)
    says = narrow.find_element(By.CSS_SELECTOR, '[data-path="altitude_metre"] .says')
    assert "'four hundred' cannot stand: write a number" in says.text
    assert height.get_attribute("value") == "four hundred"
    assert path_of(focused(narrow)) == "alert?"
    narrow.save_screenshot(str(shots / "prepare-wrong.png"))
    narrow.refresh()
    assert narrow.find_element(By.NAME, "answer:altitude_metre").get_attribute("value") == "four hundred"
    assert narrow.execute_script("return document.documentElement.scrollWidth") <= 390
    assert clean(narrow, axe) == []
    narrow.find_element(By.NAME, "answer:job").send_keys("")
    answered = set()
    while path := path_of(focused(narrow)):
        if path == "then":
            break
        text = ANSWERS.get(path)
        if text is None:
            focused(narrow).send_keys(Keys.TAB)
            continue
        answered.add(path)
        if focused(narrow).tag_name == "input":
            focused(narrow).send_keys(Keys.CONTROL, "a")
        focused(narrow).send_keys(text)
        leave(narrow)
    assert answered == set(ANSWERS)
    focused(narrow).send_keys(Keys.ENTER)
    WebDriverWait(narrow, 60).until(lambda one: one.current_url.endswith("/prepare"))
    assert "j-78.yaml" in narrow.find_element(By.TAG_NAME, "main").text
    sheets, _ = load_sheets(visits.parent / "outgoing" / "tablet 1" / "jobs" / "j-78.yaml")
    assert sheets.job.alert.who == "the office"
