"""Procedure files laid out alike, their comments kept."""

from __future__ import annotations

import io

from ruamel.yaml import YAML

from handsfree.documents import parse_document
from handsfree.problem import Problem

WIDTH = 115


def laid_out(text: str, file: str) -> str:
    """Return the file's text in the common layout; comments stay, and so does every value.

    Raises Problem when the text is no strict YAML, or when laying it out would change a value.
    """
    before = parse_document(text, file).content
    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = WIDTH
    yaml.brace_single_entry_mapping_in_flow_sequence = True  # [{quantity: altitude}] stays as it is
    yaml.indent(mapping=2, sequence=4, offset=2)
    buffer = io.StringIO()
    yaml.dump(yaml.load(text), buffer)
    laid = "\n".join(line.rstrip() for line in buffer.getvalue().splitlines()) + "\n"
    if parse_document(laid, file).content != before:
        raise Problem(
            "this file cannot be laid out without changing a value", where=file, remedy="leave it as it is"
        )
    return laid
