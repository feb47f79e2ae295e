"""The paper of a visit set as PDF, or the same as one HTML file without any other file."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from handsfree.desk.dossier import Dossier
from handsfree.desk.notice import Notice
from handsfree.desk.paper import Paper, paper_of
from handsfree.desk.tables import Row

_INK, _DEEP, _QUIET, _LINE, _WARN = (
    colors.HexColor(code) for code in ("#20292b", "#1f4d52", "#5a6466", "#cfc8b8", "#a02c22")
)
_BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9, leading=11.6, textColor=_INK)
_SMALL = ParagraphStyle("small", parent=_BODY, fontSize=7.8, leading=9.8, textColor=_QUIET)
_HEAD = ParagraphStyle(
    "head",
    parent=_BODY,
    fontName="Helvetica-Bold",
    fontSize=11,
    leading=14,
    textColor=_DEEP,
    spaceBefore=8,
    spaceAfter=3,
)
_TITLE = ParagraphStyle("title", parent=_HEAD, fontSize=18, leading=22, spaceBefore=0)
_SHORT = ParagraphStyle("short", parent=_BODY, fontSize=10.5, leading=14, spaceAfter=2)
_CELL = ParagraphStyle("cell", parent=_BODY, fontSize=8.4, leading=10.4)
_STRONG = ParagraphStyle("strong", parent=_CELL, fontName="Helvetica-Bold")
_WARNING = ParagraphStyle(
    "warning",
    parent=_BODY,
    borderColor=_WARN,
    borderWidth=1.2,
    borderPadding=6,
    textColor=_INK,
    spaceBefore=8,
    spaceAfter=8,
)
WIDTH = A4[0] - 36 * mm - 12  # the frame keeps 6 points on each side


def html(dossier: Dossier) -> str:
    """Return the paper as one HTML file."""
    pages = Environment(
        loader=PackageLoader("handsfree.desk", "pages"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return pages.get_template("paper.html").render(paper=paper_of(dossier))


def pdf(dossier: Dossier) -> bytes:
    """Return the paper as PDF."""
    paper = paper_of(dossier)
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=18 * mm, rightMargin=18 * mm, topMargin=15 * mm, bottomMargin=16 * mm,
        title=_plain(paper.title), author="Handsfree", lang="en",
    )  # fmt: skip
    document.build(_story(paper), onFirstPage=_foot(paper), onLaterPages=_foot(paper))
    return out.getvalue()


def _plain(text: str) -> str:
    """Return a text in the characters that the standard fonts have."""
    table = {"\N{SUBSCRIPT TWO}": "2", "\N{EN DASH}": "-", "\N{RIGHT SINGLE QUOTATION MARK}": "'"}
    return "".join(table.get(letter, letter) for letter in text).encode("cp1252", "replace").decode("cp1252")


def _say(text: str, style: ParagraphStyle = _BODY) -> Paragraph:
    return Paragraph(escape(_plain(text)), style)


def _story(paper: Paper) -> list[Any]:
    heads = paper.headings
    story: list[Any] = [_say(paper.title, _TITLE), *(_say(line, _SHORT) for line in paper.in_short), Spacer(0, 5)]
    if paper.warning:
        words = f"WARNING NOTICE DUE. {'; '.join(paper.warning)}. {paper.until}"
        story.append(_say(words, _WARNING))
    story += _part("The supervisor", [_say(line) for line in paper.supervisor])
    story += [_say("The visit", _HEAD), _pairs(paper.facts)]
    if len(paper.measured) > 1:
        story += _part(paper.measured_heading, [_grid(paper.measured, _shares(paper.measured))])
    story += _listed("Read under other conditions than asked", paper.conditions)
    story += _listed("Stops", paper.stops)
    story += _listed(heads.not_done, paper.not_done or ["No step was left out."])
    story += _listed("Not reached", paper.not_reached)
    story += _listed(heads.advice, paper.advice)
    cautions: list[Any] = [_say(heads.cautions, _HEAD), *(_say(f"- {line}", _SMALL) for line in paper.cautions)]
    story.append(KeepTogether([*cautions, Spacer(0, 14 * mm), _lines(paper)]))
    if paper.notice is not None:
        story += _notice(paper.notice, paper)
    return [*story, *_for_colleagues(paper)]


def _for_colleagues(paper: Paper) -> list[Any]:
    """Return what a colleague needs, on a page of its own."""
    heads = paper.headings
    story: list[Any] = [PageBreak(), _say("For the next colleague", _TITLE)]
    if len(paper.verdicts) > 1:
        story += [_say(heads.judged, _HEAD), _grid(paper.verdicts, [0.26, 0.33, 0.17, 0.24])]
    story += _part(heads.others, [_say(paper.others)])
    if paper.steps_not_reached:
        ahead = "Steps that still lay ahead, some of them asked only when needed"
        story += _part(ahead, [_say(paper.steps_not_reached, _SMALL)])
    return [*story, *_part(heads.record, [_say(paper.seal, _SMALL)])]


def _part(heading: str, content: list[Any]) -> list[Any]:
    """Return a heading that stays with the first of what stands under it."""
    return [KeepTogether([_say(heading, _HEAD), *content[:1]]), *content[1:]]


def _listed(heading: str, lines: list[str]) -> list[Any]:
    return _part(heading, [_say(f"- {line}") for line in lines]) if lines else []


def _notice(notice: Notice, paper: Paper) -> list[Any]:
    """Return the warning notice, on a page of its own."""
    story: list[Any] = [PageBreak(), _say(notice.title, _TITLE), _say(notice.do_not_use, _WARNING)]
    story += [_pairs(notice.facts), _say("Found", _HEAD), *(_say(line) for line in notice.finding)]
    story.append(_say("As reported by the technician", _HEAD))
    rows = [["What", "Reported"], *([name, value] for name, value in notice.reported)]
    story.append(_grid(rows, [0.4, 0.6]) if notice.reported else _say("Nothing was reported."))
    story += [_say("Still altered", _HEAD), _say("; ".join(notice.left) or "Nothing on record.")]
    story += [_say("Call", _HEAD), _say(notice.number), Spacer(0, 14 * mm), _lines(paper)]
    return story


def _shares(rows: list[Row]) -> list[float]:
    """Return the widths of a table of found and left: its names take a sixth, or a third when names are long."""
    first = 0.16 if max(len(row[0]) for row in rows) <= 14 else 0.34
    others = len(rows[0]) - 1
    return [first, *([(1 - first) / others] * others)]


def _grid(rows: list[Row], shares: list[float]) -> Table:
    cells = [
        [_say(cell, _STRONG if not number or not place else _CELL) for place, cell in enumerate(row)]
        for number, row in enumerate(rows)
    ]
    table = Table(cells, colWidths=[WIDTH * share for share in shares], repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, _LINE),
                ("LINEBELOW", (0, 0), (-1, 0), 0.9, _DEEP),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return table


def _pairs(facts: list[tuple[str, str]]) -> Table:
    cells = [[_say(name, _SMALL), _say(value, _CELL)] for name, value in facts]
    half = -(-len(cells) // 2)
    rows = [
        [*left, *(cells[number + half] if number + half < len(cells) else ["", ""])]
        for number, left in enumerate(cells[:half])
    ]
    table = Table(rows, colWidths=[WIDTH * share for share in (0.12, 0.38, 0.12, 0.38)])
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ]
        )
    )
    return table


def _lines(paper: Paper) -> Table:
    """Return the lines to sign on, side by side with a gap between."""
    cells: list[Any] = []
    for text in paper.signatures:
        cells += [_say(text, _SMALL), ""]
    cells.pop()
    gap, count = 6 * mm, len(paper.signatures)
    width = (WIDTH - gap * (count - 1)) / count
    table = Table([cells], colWidths=([width, gap] * count)[:-1])
    above = [("LINEABOVE", (2 * number, 0), (2 * number, 0), 0.7, _INK) for number in range(count)]
    table.setStyle(TableStyle([*above, ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return table


def _foot(paper: Paper) -> Any:
    def draw(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 7.5)
        canvas.setFillColor(_QUIET)
        canvas.drawString(18 * mm, 9 * mm, _plain(paper.foot))
        canvas.drawRightString(A4[0] - 18 * mm, 9 * mm, f"page {document.page}")
        canvas.restoreState()

    return draw
