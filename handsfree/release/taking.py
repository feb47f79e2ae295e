"""Taking bundles to a device: from a file, a folder, a stick or an address, each verified and proven anew."""

from __future__ import annotations

import urllib.request
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from http.client import HTTPException
from pathlib import Path, PurePosixPath
from urllib.parse import quote, urlsplit

from handsfree.bundles.archive import ENDING, LARGEST_BUNDLE, Bundle, bundle_of
from handsfree.bundles.taken import TakenBundles
from handsfree.bundles.version import numbers
from handsfree.bundles.withdrawals import NAME as WITHDRAWALS
from handsfree.bundles.withdrawals import withdrawals_of
from handsfree.ledger.visit import is_plain_name
from handsfree.problem import ExitCode, Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.regular_files import open_regular
from handsfree.visit.proven import must_be_proven

LISTING = "bundles.txt"
"""What an address serves beside the bundles: the names of the files that stand there, one a line."""
SECONDS = 30
MOST_AT_ONCE = 200


@dataclass(frozen=True)
class TakenNow:
    """What became of one thing that was brought: which, in a sentence, and whether it was refused."""

    what: str
    says: str
    refused: bool = False


def take(source: str, here: TakenBundles) -> list[TakenNow]:
    """Take whatever a file, a folder or an address holds: what is withdrawn first, the highest version last.

    What is refused is told and changes nothing. Raises Problem when there is nothing, too much, or it cannot be
    reached; what is withdrawn was taken by then, wherever it could be read.
    """
    try:
        away = urlsplit(source).scheme in {"http", "https"}
    except ValueError as error:
        raise Problem(f"this is no address ({error})", where=source, remedy="check it") from error
    done: list[TakenNow] = []
    bundles: list[Bundle] = []
    for name, data in _from_address(source) if away else _from_disk(Path(source)):
        if isinstance(data, Problem):
            done.append(TakenNow(name, data.sentence(), refused=True))
            continue
        if name == WITHDRAWALS:
            done.append(_recalled(data, f"{source}: {WITHDRAWALS}", here))
            continue
        try:
            bundles.append(bundle_of(data, name))
        except Problem as problem:
            done.append(TakenNow(name, problem.sentence(), refused=True))
    if not done and not bundles:
        raise Problem("no bundle and no list of withdrawals is there", where=source)
    for bundle in sorted(bundles, key=lambda one: (one.approval.procedure, numbers(one.approval.version))):
        try:
            done.append(TakenNow(bundle.name, _taken(bundle, here)))
        except Problem as problem:
            done.append(TakenNow(bundle.name, problem.sentence(), refused=True))
    return done


def listing(folder: Path) -> str:
    """Return what stands in the list of a folder that an address is to serve."""
    return "".join(f"{path.name}\n" for path in _bundles(folder))


def _bundles(folder: Path) -> list[Path]:
    """Return the list of withdrawals of a folder, then its bundles."""
    return [folder / name for name in _in_order(path.name for path in folder.iterdir())]


def _in_order(names: Iterable[str]) -> list[str]:
    """Return those names that are taken; the list of withdrawals first, for what stops work waits for nothing."""
    taken = {name for name in names if name.endswith(ENDING) or name == WITHDRAWALS}
    return sorted(taken, key=lambda name: (name != WITHDRAWALS, name))


def _within(bundles: int, where: str) -> None:
    """Raise Problem when more bundles are there than are taken at once: none is left out in silence."""
    if bundles > MOST_AT_ONCE:
        raise Problem(
            f"{bundles} bundles are there, and {MOST_AT_ONCE} at most are taken at once",
            where=where,
            remedy="leave only the versions there that are to be used",
        )


def _from_disk(path: Path) -> Iterator[tuple[str, bytes | Problem]]:
    """Yield a file, or every file of a folder; for a bundle there that cannot be read the reason, in its place.

    A list of withdrawals that cannot be read raises Problem: nothing is taken past it.
    """
    if not path.is_dir():
        yield path.name, _read(path)
        return
    try:
        files = _bundles(path)
    except OSError as error:
        raise Problem(f"this cannot be read ({error.strerror})", where=str(path)) from error
    for file in files:
        if file.name != WITHDRAWALS:
            _within(sum(one.name != WITHDRAWALS for one in files), str(path))
        try:
            yield file.name, _read(file)
        except Problem as problem:
            if file.name == WITHDRAWALS:
                raise
            yield file.name, problem


def _read(file: Path) -> bytes:
    try:
        with open_regular(file) as stream:
            return stream.read(LARGEST_BUNDLE + 1)
    except OSError as error:
        raise Problem(f"this cannot be read ({error.strerror})", where=str(file)) from error


def _from_address(address: str) -> Iterator[tuple[str, bytes]]:
    """Yield the file at an address, or every file that the list there names."""
    name = PurePosixPath(urlsplit(address).path).name
    if name.endswith(ENDING) or name == WITHDRAWALS:
        yield name, _fetched(address)
        return
    base = address.rstrip("/") + "/"
    listed = _fetched(base + LISTING).decode("utf-8", "replace").split()
    names = _in_order(one for one in listed if is_plain_name(one))
    for one in names:
        if one != WITHDRAWALS:
            _within(sum(name != WITHDRAWALS for name in names), address)
        yield one, _fetched(base + quote(one))


def _fetched(address: str) -> bytes:
    try:
        with urllib.request.urlopen(address, timeout=SECONDS) as answer:  # noqa: S310 - `take` lets only http(s) in
            data: bytes = answer.read(LARGEST_BUNDLE + 1)
    except (OSError, HTTPException, ValueError) as error:
        raise Problem(f"this address gives nothing ({error})", where=address, remedy="check it") from error
    return data


def _taken(bundle: Bundle, here: TakenBundles) -> str:
    """Keep a bundle that holds by itself, by the list, and by the proofs of this device's own program."""
    approval = bundle.approval
    if fault := here.why_not_taken(approval):
        raise Problem(f"{approval.procedure} {approval.version} is refused: {fault}", code=ExitCode.FAILED)
    with bundle.unpacked() as file:
        procedure = load_procedure(file)
        same = procedure.version() == approval.procedure_sha256 and procedure.file.version == approval.version
        if not same:
            raise Problem(
                f"{approval.procedure} {approval.version} is not what was approved", code=ExitCode.FAILED
            )
        must_be_proven(procedure)
    other = _another_trade(bundle, here)
    who = f"approved by {approval.author} until {approval.valid_until[:10]}"
    return f"{approval.procedure} {approval.version}, {who}, {here.keep(bundle)}{other}"


def _another_trade(bundle: Bundle, here: TakenBundles) -> str:
    """Return, as a clause, that a procedure in use brings another trade by the name of this one's; else nothing.

    Each visit runs on the trade of its own bundle, so none is mixed up; a job sheet may fit only one of the two.
    """
    own = bundle.of_trade()
    for name in here.names() if own else ():
        if name == bundle.approval.procedure:
            continue
        try:
            version = here.in_use(name)
            other = None if version is None else here.bundle(name, version)
        except Problem:
            continue
        if other is not None and other.approval.trade == bundle.approval.trade and other.of_trade() != own:
            return f"; its trade {bundle.approval.trade} is another than that of {name} {version}"
    return ""


def _recalled(data: bytes, where: str, here: TakenBundles) -> TakenNow:
    try:
        listed = withdrawals_of(data, where)
        new, strange = here.recall(listed.whole)
    except Problem as problem:
        return TakenNow(WITHDRAWALS, problem.sentence(), refused=True)
    told = f"{new} new withdrawal{'' if new == 1 else 's'}"
    if strange:
        told += (
            f"; {strange} NOT TAKEN: this device's enrolment list names no such author, so take the newest list"
        )
    if listed.fault:
        told += f"; the rest does not hold: {listed.fault}"
    return TakenNow(WITHDRAWALS, told, refused=bool(listed.fault))
