"""What became of stories as JUnit XML, which every service that runs tests reads.

The format has no standard of its own; these are the elements and attributes that readers of it agree on:
testsuites, testsuite, testcase (name, classname, time, file, line) and failure (message).
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from handsfree.stories.running import Covered


def junit(covered: Sequence[Covered], too_little: Sequence[tuple[str, ...]]) -> str:
    """Return the document: a suite for each file, a case for each story, and one for what they cover."""
    top = Element("testsuites")
    for one, lacking in zip(covered, too_little, strict=True):
        name = one.procedure.name
        suite = SubElement(top, "testsuite", name=name)
        for result in one.results:
            case = SubElement(suite, "testcase", name=result.story, classname=name)
            case.set("time", f"{result.seconds:.3f}")
            case.set("file", result.place.file)
            case.set("line", str(result.place.line))
            if result.fault:
                message = f"{result.place}: {result.fault}"
                SubElement(case, "failure", message=message).text = message
        case = SubElement(suite, "testcase", name="coverage", classname=name, time="0", file=str(one.stories.path))
        if lacking:
            SubElement(case, "failure", message="; ".join(lacking))
        suite.set("tests", str(len(one.results) + 1))
        suite.set("failures", str(len(one.failed) + bool(lacking)))
        suite.set("errors", "0")
        suite.set("time", f"{sum(result.seconds for result in one.results):.3f}")
    indent(top)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(top, encoding="unicode") + "\n"
