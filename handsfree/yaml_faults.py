"""What is wrong with the writing of a YAML file, in its author's words and not in the parser's."""

from __future__ import annotations

import re
from typing import Final

_QUOTE_IT: Final = "put the text in quotes"
_SAID: Final = (
    # What the library says, what is wrong, and what to do; the first that is found counts.
    (
        r"expected <block end>.*(start>|\?)",
        "this line begins further right or left than those that it belongs to",
        "begin it in the same column as they do",
    ),
    (
        r"expected <block end>",
        "what stands here does not go on from what stands before it",
        "begin it on a line of its own, or put the whole text in quotes",
    ),
    (
        r"mapping values are not allowed",
        "a colon stands within a text or within another key",
        f"{_QUOTE_IT}, or begin the key on a line of its own, in the column of those beside it",
    ),
    (r"expected ':'", "no colon follows this key", f"write `key: value`, or {_QUOTE_IT}"),
    (
        r"sequence entries are not allowed",
        'an entry of a list ("- ") stands where none can be',
        "begin it on a line of its own",
    ),
    (r"mapping keys are not allowed|complex key", 'a "? " stands where none can be', _QUOTE_IT),
    (
        r"unclosed|expected ',' or|expected the node content",
        "a bracket or a comma is missing, or stands where none can be",
        f"correct it, or {_QUOTE_IT}",
    ),
    (r"unexpected end of stream", "a quote that was opened is not closed", "close it"),
    (r"document separator", '"---" or "..." stands within a quoted text', "close the quote before it"),
    (r"'\\+t' that cannot start", "a tab stands where spaces are wanted", "write spaces"),
    (r"character (.+) that cannot start", "no text begins with {0}", _QUOTE_IT),
    (r"alias|anchor", '"*" or "&" begins a text', _QUOTE_IT),
    (r"scanning a directive", '"%" begins a line', _QUOTE_IT),
    (r"\btag\b|URI", '"!" begins a text', _QUOTE_IT),
    (
        r"escape",
        "after a backslash in double quotes stands what means nothing there",
        "write single quotes",
    ),
    (r"another document|document (start|end)", "a second document begins here", "keep one in each file"),
    (
        r"indentation indicator|comment or a line break|more indented follow up",
        'what follows "|" or ">" is not as it should be',
        "write nothing behind it, and indent all lines below it alike",
    ),
    (r"special characters", "this character cannot stand in a YAML file", "remove it"),
)
_OTHER: Final = "from here on this cannot be read"


def said(fault: str) -> tuple[str, str]:
    """Return what is wrong, as a clause, and what to do, for what the parser of the library says of a file."""
    for pattern, what, remedy in _SAID:
        if found := re.search(pattern, fault):
            return what.format(*found.groups()), remedy
    return _OTHER, f"correct the line, or {_QUOTE_IT}"
