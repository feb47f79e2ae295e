"""A photo goes from a real browser over the real page into a real visit, without what its camera wrote to it."""

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image
from selenium.webdriver.common.by import By

from tests.browser.test_glance import JOB_SHEET, headline, phone, touch, until
from tests.programs import keyed_visit, page_address

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "visit" / "support")]

from handsfree.ledger import read  # noqa: E402
from handsfree.ledger.personal import names_of  # noqa: E402

__all__ = ["phone"]
PROCEDURE = """\
handsfree: 2
procedure: small
title: A photo, tried
purpose: A photo is taken.
gates:
  - {id: plate, kind: confirm, title: Plate read, source: a test, prompt: Cover off., done: [cover removed],
     photo: the data plate}
  - {id: finish, kind: finish, title: Finish, source: none}
"""


def picture(path):
    """3,000 by 2,000 pixels held on its side, with a place (Exif 2.32), as a PNG that says it is a JPEG."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Invented Maker"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 31.0, 12.0)})
    image = Image.new("RGB", (3000, 2000), "blue")
    image.paste("red", (0, 0, 1500, 2000))
    image.save(path, "JPEG", exif=exif)
    return path


@pytest.mark.slow("a browser and a visit of its own")
def test_a_photo_is_taken_by_the_phone(tmp_path, phone):
    file, folder = tmp_path / "small.yaml", tmp_path / "visit"
    file.write_text(PROCEDURE, encoding="utf-8")
    words = tmp_path / "words.jpg"
    words.write_text("no picture", encoding="utf-8")
    command = keyed_visit(file, JOB_SHEET, folder, "--plain", "--glance-web", "127.0.0.1:0")
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            phone.get(page_address(process))
            headline(phone, "Cover off.")
            until(
                phone,
                lambda b: b.find_element(By.CSS_SELECTOR, "#photos button").text == "Photo of the data plate",
            )
            button = phone.find_element(By.CSS_SELECTOR, "#photos button")
            camera = phone.find_element(By.ID, "camera")
            phone.execute_script("photoGate = 'plate'")  # what a touch on the button does before the camera opens
            camera.send_keys(str(words))
            until(phone, lambda b: "no picture that can be taken" in b.find_element(By.ID, "photo-told").text)
            camera.send_keys(str(picture(tmp_path / "plate.jpg")))
            until(phone, lambda _: button.text.startswith("One more"))
            until(phone, lambda b: not b.find_element(By.ID, "photo-told").is_displayed())
            touch(phone, "enter")
            until(phone, lambda b: not b.find_elements(By.CSS_SELECTOR, "#photos button"))
            assert [
                e for e in phone.get_log("browser") if e["level"] == "SEVERE" and "415" not in e["message"]
            ] == []
        finally:
            process.kill()
    (taken,) = [entry.event for entry in read(folder) if entry.kind == "photo-taken"]
    assert taken["gate"] == "plate"
    kept = names_of(folder).payload(taken["photo"]["commitment"])
    shown = Image.open(io.BytesIO(kept))
    assert shown.size == (1365, 2048)
    top, bottom = shown.getpixel((700, 100)), shown.getpixel((700, 1900))
    assert top[0] > 200 > 60 > top[2]
    assert bottom[2] > 200 > 60 > bottom[0]
    assert b"Exif" not in kept
    assert b"Invented" not in kept + json.dumps(taken).encode()
