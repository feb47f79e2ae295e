"""The building blocks of the papers set as PDF: paragraphs, tables, lines to sign on, the foot of a page."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing, PolyLine
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import (
    Image,
    KeepTogether,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from handsfree.desk.notice import Notice
from handsfree.desk.photos import MOST_ON_PAPER, PaperPhoto
from handsfree.desk.tables import Row
from handsfree.glance.strokes import HIGH, WIDE, Strokes

_INK, _DEEP, _QUIET, _LINE, _WARN = (
    colors.HexColor(code) for code in ("#20292b", "#1f4d52", "#5a6466", "#cfc8b8", "#a02c22")
)
BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9, leading=11.6, textColor=_INK)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=7.8, leading=9.8, textColor=_QUIET)
HEAD = ParagraphStyle(
    "head",
    parent=BODY,
    fontName="Helvetica-Bold",
    fontSize=11,
    leading=14,
    textColor=_DEEP,
    spaceBefore=8,
    spaceAfter=3,
)
TITLE = ParagraphStyle("title", parent=HEAD, fontSize=18, leading=22, spaceBefore=0)
SHORT = ParagraphStyle("short", parent=BODY, fontSize=10.5, leading=14, spaceAfter=2)
_CELL = ParagraphStyle("cell", parent=BODY, fontSize=8.4, leading=10.4)
_STRONG = ParagraphStyle("strong", parent=_CELL, fontName="Helvetica-Bold")
WARNING = ParagraphStyle(
    "warning",
    parent=BODY,
    borderColor=_WARN,
    borderWidth=1.2,
    borderPadding=6,
    textColor=_INK,
    spaceBefore=8,
    spaceAfter=12,
)
WIDTH = A4[0] - 36 * mm - 12  # the frame keeps 6 points on each side
SIGNING = 14 * mm
"""The room above a line to sign on."""

_OTHERWISE = str.maketrans(
    {
        "\N{SUBSCRIPT TWO}": "2",
        "\N{EN DASH}": "-",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{SUPERSCRIPT MINUS}": "^-",
        "\N{SUPERSCRIPT SIX}": "6",
        "\N{SUPERSCRIPT TWO}": "2",
        "\N{SQUARE ROOT}": "root of ",
    }
)
"""Characters that the standard fonts lack, as they are written instead."""

Flowables = list[Any]
"""What a page is set from. Any: the library does not publish the class of its parts."""


def document(title: str, foot: str, story: Flowables) -> bytes:
    """Return a document as PDF, each page with its foot and number."""
    out = io.BytesIO()
    page = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=18 * mm, rightMargin=18 * mm, topMargin=15 * mm, bottomMargin=16 * mm,
        title=plain(title), author="Handsfree", lang="en",
    )  # fmt: skip
    page.build(story, onFirstPage=_foot(foot), onLaterPages=_foot(foot))
    return out.getvalue()


def plain(text: str) -> str:
    """Return a text in the characters that the standard fonts have."""
    return text.translate(_OTHERWISE).encode("cp1252", "replace").decode("cp1252")


def say(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """Return a paragraph."""
    return Paragraph(escape(plain(text)), style)


def part(heading: str, content: Flowables) -> Flowables:
    """Return a heading that stays with the first of what stands under it."""
    return [KeepTogether([say(heading, HEAD), *content[:1]]), *content[1:]]


def listed(heading: str, lines: list[str], style: ParagraphStyle = BODY) -> Flowables:
    """Return lines under a heading; nothing where there are none."""
    return part(heading, [say(f"- {line}", style) for line in lines]) if lines else []


def notice_page(notice: Notice, signatures: list[str]) -> Flowables:
    """Return the warning notice, on a page of its own."""
    story: Flowables = [PageBreak(), say(notice.title, TITLE), say(notice.do_not_use, WARNING)]
    story += [pairs(notice.facts), say("Found", HEAD), *(say(line) for line in notice.finding)]
    story.append(say("As reported by the technician", HEAD))
    rows = [["What", "Reported"], *([name, value] for name, value in notice.reported)]
    story.append(grid(rows, [0.4, 0.6]) if notice.reported else say("Nothing was reported."))
    story += [say("Still altered", HEAD), say("; ".join(notice.left) or "Nothing on record.")]
    story += [say("Call", HEAD), say(notice.number), Spacer(0, SIGNING), *lines(signatures)]
    return story


def shares(rows: list[Row]) -> list[float]:
    """Return the widths of a table of found and left: its names take a sixth, or a third when names are long."""
    first = 0.16 if max(len(row[0]) for row in rows) <= 14 else 0.34
    others = len(rows[0]) - 1
    return [first, *([(1 - first) / others] * others)]


def grid(rows: list[Row], widths: list[float]) -> Table:
    """Return a table with its headings as first row; `widths` are shares of the page."""
    cells = [
        [say(cell, _STRONG if not number or not place else _CELL) for place, cell in enumerate(row)]
        for number, row in enumerate(rows)
    ]
    table = Table(cells, colWidths=[WIDTH * share for share in widths], repeatRows=1)
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


def pairs(facts: list[tuple[str, str]]) -> Table:
    """Return names with their texts, in two columns."""
    cells = [[say(name, SMALL), say(value, _CELL)] for name, value in facts]
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


def lines(signatures: list[str]) -> Flowables:
    """Return the lines to sign on, side by side with a gap between; nothing where nobody is to sign."""
    if not signatures:
        return []
    cells: Flowables = []
    for text in signatures:
        cells += [say(text, SMALL), ""]
    cells.pop()
    gap, count = 6 * mm, len(signatures)
    width = (WIDTH - gap * (count - 1)) / count
    table = Table([cells], colWidths=([width, gap] * count)[:-1])
    above = [("LINEABOVE", (2 * number, 0), (2 * number, 0), 0.7, _INK) for number in range(count)]
    table.setStyle(TableStyle([*above, ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return [table]


def drawings(signatures: list[tuple[str, Strokes]]) -> Flowables:
    """Return signatures as they were drawn, side by side, each over who signed; nothing where none were."""
    if not signatures:
        return []
    width, gap = WIDTH / 3, 6 * mm
    cells = [
        [_drawing(strokes, width - gap) for _, strokes in signatures],
        [say(text, SMALL) for text, _ in signatures],
    ]
    table = Table(cells, colWidths=[width] * len(signatures), hAlign="LEFT")
    table.setStyle(TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return [table]


def photos(shown: list[PaperPhoto]) -> Flowables:
    """Return photos under a heading, in one row, each over its words; nothing where there are none."""
    if not shown:
        return []
    width, gap = WIDTH / MOST_ON_PAPER, 4 * mm
    cells: list[list[Any]] = [
        [_photo(one, width - gap) for one in shown],
        [say(one.says, SMALL) for one in shown],
    ]
    table = Table(cells, colWidths=[width] * len(shown), hAlign="LEFT")
    table.setStyle(TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, 0), "BOTTOM")]))
    return [KeepTogether([say("Photos", HEAD), table])]


def _photo(one: PaperPhoto, side: float) -> Image:
    picture = Image(io.BytesIO(one.picture))
    scale = side / max(picture.imageWidth, picture.imageHeight)
    picture.drawWidth, picture.drawHeight = picture.imageWidth * scale, picture.imageHeight * scale
    return picture


def _drawing(strokes: Strokes, width: float) -> Drawing:
    scale = width / WIDE
    drawn = Drawing(width, HIGH * scale)
    for stroke in strokes:
        points = [value for x, y in stroke for value in (x * scale, (HIGH - y) * scale)]
        drawn.add(PolyLine(points, strokeColor=_INK, strokeWidth=1.1))
    return drawn


def _foot(foot: str) -> Any:
    def draw(canvas: Any, page: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 7.5)
        canvas.setFillColor(_QUIET)
        canvas.drawString(18 * mm, 9 * mm, plain(foot))
        canvas.drawRightString(A4[0] - 18 * mm, 9 * mm, f"page {page.page}")
        canvas.restoreState()

    return draw
