"""A procedure of 216 gates printed by a real browser: each part is one page of A4, and no text leaves its card."""

import base64
import io
from pathlib import Path

import pytest
from pypdf import PdfReader
from selenium.webdriver.common.print_page_options import PrintOptions

from handsfree.procedure.pages import pages
from handsfree.procedure.procedure import load_procedure

PROCEDURES = Path(__file__).parents[2] / "procedures"
OVERFLOWING = """
return [...document.querySelectorAll('g.card')].flatMap(card => {
  const box = card.querySelector('rect').getBoundingClientRect();
  return [...card.querySelectorAll('text')].filter(text => {
    const one = text.getBoundingClientRect();
    return one.right > box.right + 1 || one.bottom > box.bottom + 1;
  }).map(text => card.id + ': ' + text.textContent);
});
"""


@pytest.mark.slow("prints 34 pages")
def test_each_part_prints_on_one_page_and_its_texts_stay_on_their_cards(chromium, tmp_path):
    page = tmp_path / "pages.html"
    page.write_text(pages(load_procedure(PROCEDURES / "two-rate-combustion.yaml")), encoding="utf-8")
    chromium.get(page.as_uri())
    assert chromium.execute_script(OVERFLOWING) == []
    options = PrintOptions()
    options.page_width, options.page_height = 21.0, 29.7
    printed = PdfReader(io.BytesIO(base64.b64decode(chromium.print_page(options))))
    assert len(printed.pages) == chromium.execute_script("return document.querySelectorAll('section').length")
