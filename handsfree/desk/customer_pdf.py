"""The customer's page set as PDF, on the device, when the visit closes."""

from __future__ import annotations

from pathlib import Path

from reportlab.platypus import KeepTogether, Spacer

from handsfree.desk import pdf
from handsfree.desk.customer import CustomersPage, customers_page
from handsfree.desk.dossier import Dossier, open_dossier
from handsfree.desk.tables import Row
from handsfree.lexicon.catalogue import sentence_case
from handsfree.problem import Problem

NAME = "customer.pdf"
"""The page's file in a visit's folder; it is no part of the record."""


def customer_pdf(dossier: Dossier) -> bytes:
    """Return the customer's page of a visit."""
    page = customers_page(dossier)
    return pdf.document(page.title, page.foot, _story(page))


def write_customers_page(folder: Path) -> Path:
    """Write the customer's page into a visit's folder, over an older one; Problem when that fails."""
    content, file = customer_pdf(open_dossier(folder)), folder / NAME
    part = file.with_suffix(".pdf.part")
    try:
        part.write_bytes(content)
        part.replace(file)
    except OSError as error:
        part.unlink(missing_ok=True)
        what = f"the customer's page cannot be written ({error.strerror})"
        raise Problem(what, where=str(file), remedy="make room, then: handsfree paper FOLDER") from error
    return file


def _story(page: CustomersPage) -> pdf.Flowables:
    story: pdf.Flowables = [pdf.say(page.title, pdf.TITLE), *(pdf.say(line, pdf.SHORT) for line in page.in_short)]
    story.append(Spacer(0, 5))
    if page.warning:
        words = f"WARNING NOTICE DUE. {'. '.join(page.warning)}. {page.until}"
        story.append(pdf.say(words, pdf.WARNING))
    story += pdf.part("The visit", [pdf.pairs(page.facts)])
    if len(page.measured) > 1:
        story += pdf.part(page.measured_heading, [pdf.grid(page.measured, pdf.shares(page.measured))])
    story += pdf.listed("Adjusted", page.turned)
    if len(page.judged) > 1:
        story += pdf.part("Also judged", [pdf.grid(page.judged, [0.24, 0.16, 0.2, 0.14, 0.26])])
    if page.sources and (len(page.measured) > 1 or len(page.judged) > 1):
        story += pdf.listed("Where the figures come from", page.sources, pdf.SMALL)
    if len(page.checked) > 1:
        story += pdf.part(
            "Checked, with the answer given", [pdf.grid(_beside(page.checked), [0.3, 0.2, 0.3, 0.2])]
        )
    complete = ["Nothing on the list was left out."] if not page.not_checked else []
    unlisted = ["There is no list of checks for this trade: what is not named above was not checked."]
    story += pdf.listed("Not checked", [*page.not_checked, *(complete if page.listed else unlisted)])
    story += pdf.listed("Found, advised and fitted", page.advice)
    story += pdf.listed("Since the last visit", page.earlier)
    story += pdf.photos(page.photos)
    story += pdf.part("Next visit", [pdf.say(page.next_visit)])
    cautions: pdf.Flowables = [
        pdf.say("Cautions", pdf.HEAD),
        *(pdf.say(f"- {one}", pdf.SMALL) for one in page.cautions),
    ]
    drawn = pdf.drawings([(f"{sentence_case(one.whose)}, {one.says}", one.strokes) for one in page.drawn])
    room = [] if drawn else [Spacer(0, pdf.SIGNING)]
    signed = [pdf.say(page.unsigned), *drawn] if page.unsigned else [*room, *drawn, *pdf.lines(page.signatures)]
    record = [Spacer(0, 4), pdf.say(f"The record: {page.seal}", pdf.SMALL)]
    story.append(KeepTogether([*cautions, Spacer(0, 4), *signed, *record]))
    if page.notice is not None:
        story += pdf.notice_page(page.notice, page.signatures)
    return story


def _beside(rows: list[Row]) -> list[Row]:
    """Return a table of two columns set as one of four, its second half beside its first."""
    heading, *body = rows
    half = -(-len(body) // 2)
    second = [*body[half:], *[["", ""]] * (2 * half - len(body))]
    return [[*heading, *heading], *([*left, *right] for left, right in zip(body[:half], second, strict=True))]
