"""Folders, lists, proofs and requests with something in them altered at random; each try has a seed of its own."""

from __future__ import annotations

import json
import random
import shutil
from collections import Counter
from pathlib import Path
from typing import Any

from lists import OFFICE, device_of, list_of, signed
from small_visits import visit
from starlette.testclient import TestClient

from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.desk.site import Desk
from handsfree.ledger import export
from handsfree.office.enrolment import NAME, enrolment_of, list_lines
from handsfree.office.log import Checkpoint, append, newest_checkpoint
from handsfree.office.proving import prove, proven
from handsfree.office.verification import known_enrolment, verify_anchored
from handsfree.problem import Problem

BITS = (
    b"[" * 3000,
    b'{"a":',
    b"\0",
    b"\xff\xfe",
    b"\n",
    b"null",
    b"-1",
    b"9" * 400,
    b'"',
    b"\\ud800",
    b"\x1b[2J",
    b",",
)


def altered(data: bytes, chance: random.Random) -> bytes:
    """Return other bytes: a bit turned, a piece cut out, doubled, moved, put in, or the end gone."""
    if not data:
        return chance.choice(BITS)
    begin = chance.randrange(len(data))
    end = min(len(data), begin + chance.choice((1, 2, 8, 64, 4000)))
    piece, rest = data[begin:end], data[:begin] + data[end:]
    where = chance.randrange(len(rest) + 1)
    return chance.choice(
        (
            data[:begin] + bytes([data[begin] ^ (1 << chance.randrange(8))]) + data[begin + 1 :],
            rest,
            data[:end] + piece + data[end:],
            rest[:where] + piece + rest[where:],
            data[:begin] + chance.choice(BITS) + data[begin:],
            data[:begin] + chance.choice(BITS) + data[end:],
            data[:begin],
        )
    )


class Mutations:
    """One visit with all that can lie beside it, one list, one proof, one desk; `attempt` alters one of them."""

    def __init__(self, root: Path, state: Path) -> None:
        """Make them; HANDSFREE_STATE names `state`."""
        self._visits, self._work = root / "visits", root / "work"
        original = visit(root / "original", root / "tablet")
        self._list = list_of(state / NAME, [device_of(original)])
        signed(verify_anchored(original, known_enrolment()), "not accepted", "no meter")
        export(original, self._visits / "one", sound=False, state=root / "tablet")
        shutil.copytree(original / "sources", self._visits / "one" / "sources", dirs_exist_ok=True)
        append(root / "log", [verify_anchored(original, known_enrolment())], OFFICE)
        self._proof = json.dumps(prove(original, 2, root / "log", OFFICE.public)).encode()
        self._note = newest_checkpoint(root / "log")
        self._files = sorted(path for path in (self._visits / "one").rglob("*") if path.is_file())
        index = Index(self._visits, root / "index.sqlite", enrolment=self._list)
        index.scan()
        self._browser = TestClient(
            Desk(index, Door()).application(), base_url="http://127.0.0.1:8470", raise_server_exceptions=False
        )

    def attempt(self, seed: int) -> str:
        """Alter one thing and return what became of it; anything but a Problem that is raised is a failure."""
        chance = random.Random(seed)
        kinds = (self._folder, self._folder, self._listed, self._proven, self._noted, self._asked)
        try:
            return chance.choice(kinds)(chance)
        except Problem as problem:
            said = problem.sentence()
        assert "\n" not in said
        return "refused"

    def _folder(self, chance: random.Random) -> str:
        shutil.rmtree(self._work, ignore_errors=True)
        shutil.copytree(self._visits / "one", self._work)
        path = self._work / chance.choice(self._files).relative_to(self._visits / "one")
        data = path.read_bytes()
        path.write_bytes(other := altered(data, chance))
        report = verify_anchored(self._work, known_enrolment())
        assert other == data or not report.ok or path.name == "endorsements.jsonl", path.name
        return f"folder {report.verdict}"

    def _listed(self, chance: random.Random) -> str:
        lines = altered(b"\n".join(list_lines(self._list)), chance).split(b"\n")
        return f"list of {len(enrolment_of(lines, 'list').keys)}"

    def _proven(self, chance: random.Random) -> str:
        given = altered(self._proof, chance)
        try:
            proof: Any = json.loads(given)
        except (ValueError, RecursionError):
            return "no JSON"
        entry, _ = proven(proof, OFFICE.public)
        assert entry["event"] == {"value": "9.30"}
        return "proof holds"

    def _noted(self, chance: random.Random) -> str:
        text = altered(self._note.encode(), chance).decode("utf-8", "replace")
        assert Checkpoint.of(text, OFFICE.public).signed(OFFICE) == self._note
        return "checkpoint holds"

    def _asked(self, chance: random.Random) -> str:
        path = chance.choice(("/", "/?page=1&words=x", "/visit/0123456789abcdef", "/sign/prepare"))
        method = chance.choice(("GET", "POST"))
        name = chance.choice(("host", "origin", "cookie", "range", "content-type", "sec-fetch-site"))
        value = altered(b"http://127.0.0.1:8470", chance).replace(b"\n", b"").replace(b"\0", b"")[:2000]
        asked = altered(path.encode(), chance).decode("latin-1").replace("#", "")
        body = altered(b'{"form_token": "x", "visits": [{"visit": "a"}], "verdict": "accepted"}', chance)
        plain = "".join(letter for letter in asked if letter.isprintable() and letter != "\\")
        address = f"/{plain.lstrip('/')}"
        content = body if method == "POST" else None
        answer = self._browser.request(method, address, headers=[(name.encode(), value)], content=content)
        assert answer.status_code < 500, (method, address, name, value, body)
        return f"answer {answer.status_code}"


def tally(mutations: Mutations, seeds: range) -> Counter[str]:
    """Return how often each thing came of it; an AssertionError names the seed."""
    found: Counter[str] = Counter()
    for seed in seeds:
        try:
            found[mutations.attempt(seed)] += 1
        except Exception as error:
            raise AssertionError(f"seed {seed}: {type(error).__name__}: {error}") from error
    return found
