"""The paper of a visit set as PDF, or the same as one HTML file without any other file."""

from __future__ import annotations

import base64
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template, select_autoescape
from reportlab.platypus import KeepTogether, PageBreak, Spacer

from handsfree.desk import pdf as setting
from handsfree.desk.dossier import Dossier
from handsfree.desk.paper import Paper, paper_of
from handsfree.photo_file import FORM


def html(dossier: Dossier) -> str:
    """Return the paper as one HTML file."""
    return _page().render(paper=paper_of(dossier), coded=_coded)


@cache
def _page() -> Template:
    pages = Environment(
        loader=PackageLoader("handsfree.desk", "pages"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return pages.get_template("paper.html")


def _coded(picture: bytes) -> str:
    """Return a picture as an address that holds it (RFC 2397)."""
    return f"data:{FORM};base64,{base64.b64encode(picture).decode()}"


def pdf(dossier: Dossier) -> bytes:
    """Return the paper as PDF."""
    paper = paper_of(dossier)
    return setting.document(paper.title, paper.foot, _story(paper))


def _story(paper: Paper) -> setting.Flowables:
    heads = paper.headings
    say, part, listed = setting.say, setting.part, setting.listed
    story: setting.Flowables = [
        say(paper.title, setting.TITLE),
        *(say(line, setting.SHORT) for line in paper.in_short),
    ]
    story.append(Spacer(0, 5))
    if paper.warning:
        words = f"WARNING NOTICE DUE. {'. '.join(paper.warning)}. {paper.until}"
        story.append(say(words, setting.WARNING))
    story += part("The supervisor", [say(line) for line in paper.supervisor])
    story += [say("The visit", setting.HEAD), setting.pairs(paper.facts)]
    if len(paper.measured) > 1:
        story += part(paper.measured_heading, [setting.grid(paper.measured, setting.shares(paper.measured))])
    story += listed("Adjusted", paper.turned)
    story += listed("Read under other conditions than asked", paper.conditions)
    story += listed("Stops", paper.stops)
    story += listed(heads.not_done, paper.not_done or ["No step was left out."])
    story += listed("Not reached", paper.not_reached)
    story += listed(heads.advice, paper.advice)
    cautions: setting.Flowables = [
        say(heads.cautions, setting.HEAD),
        *(say(f"- {line}", setting.SMALL) for line in paper.cautions),
    ]
    story.append(KeepTogether([*cautions, Spacer(0, setting.SIGNING), *setting.lines(paper.signatures)]))
    if paper.notice is not None:
        story += setting.notice_page(paper.notice, paper.signatures)
    return [*story, *_for_colleagues(paper)]


def _for_colleagues(paper: Paper) -> setting.Flowables:
    """Return what a colleague needs, on a page of its own."""
    heads, say, part = paper.headings, setting.say, setting.part
    story: setting.Flowables = [PageBreak(), say("For the next colleague", setting.TITLE)]
    story += setting.listed("The visits before", paper.earlier, setting.SMALL)
    if len(paper.verdicts) > 1:
        story += [say(heads.judged, setting.HEAD), setting.grid(paper.verdicts, [0.26, 0.33, 0.17, 0.24])]
    story += setting.photos(paper.photos)
    story += part(heads.others, [say(paper.others)])
    if paper.steps_not_reached:
        ahead = "Steps that still lay ahead, some of them asked only when needed"
        story += part(ahead, [say(paper.steps_not_reached, setting.SMALL)])
    return [*story, *part(heads.record, [say(paper.seal, setting.SMALL)])]
