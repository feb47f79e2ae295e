"""The addresses at which visits are signed: by the key that the desk was started with, or by a passkey.

Signing has two steps. First the desk prepares what is to be signed, for one visit or many, and gives the
challenge; then it is signed. What waits is kept for some minutes, and is signed once.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Callable, Sequence
from ipaddress import ip_address
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from webauthn.helpers import bytes_to_base64url

from handsfree.desk.dossier import Dossier
from handsfree.desk.guard import Door
from handsfree.desk.index import Index
from handsfree.ledger import VerificationReport
from handsfree.ledger.kinds import is_digest
from handsfree.office.endorsing import Prepared, prepare_sign_offs, supervisor
from handsfree.office.enrolment import EnrolledKey, Enrolment, Role
from handsfree.office.passkeys import asked_for, for_the_office, made
from handsfree.office.signatures import MOST_AT_ONCE, Assertion, Signer
from handsfree.office.verification import known_enrolment
from handsfree.problem import Problem

LONGEST_FORM = 200_000
WAITS_S = 600.0
READS_ONLY = "Over the network this desk is for reading."
MOST_WAITING = 20


def _is_address(host: str) -> bool:
    """Say whether a host is an IP address: passkeys are for domains alone (W3C Web Authentication 2, 5.1.3)."""
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


class SigningPages:
    """Prepares, signs, and makes passkeys; `dossier` opens a visit afresh."""

    def __init__(
        self,
        index: Index,
        door: Door,
        signer: Signer | None,
        dossier: Callable[[str], Dossier],
        person: EnrolledKey | None = None,
    ) -> None:
        """`person` has signed in, and nobody else signs here; without one any supervisor's passkey does."""
        self._index, self._door, self._signer, self._dossier = index, door, signer, dossier
        self._person = person
        self._waiting: dict[str, tuple[float, Any]] = {}

    def routes(self) -> list[Route]:
        """Return the addresses."""
        return [
            Route("/sign/prepare", self._prepare, methods=["POST"]),
            Route("/sign/complete", self._complete, methods=["POST"]),
        ]

    def passkey_routes(self) -> list[Route]:
        """Return the addresses at which a passkey is made."""
        return [
            Route("/passkey/begin", self._begin, methods=["POST"]),
            Route("/passkey/finish", self._finish, methods=["POST"]),
        ]

    def enrolment(self) -> Enrolment | None:
        """Return the list as it is now."""
        return known_enrolment(self._index.enrolment)

    def who(self) -> EnrolledKey | None:
        """Return whose key the desk was started with, where it may sign now; None when there is none."""
        if self._signer is None or self._door.token is not None:
            return None
        try:
            return supervisor(self.enrolment(), self._signer.key)
        except Problem:
            return None

    def why_not(self) -> str:
        """Return why the desk's own key cannot sign; empty when it can."""
        if self._door.token is not None:
            return READS_ONLY
        if self._person is not None:
            return "Sign with your passkey."
        if self._signer is None:
            return "Sign with a passkey, or start the desk with your key: handsfree desk FOLDER --key FILE."
        try:
            supervisor(self.enrolment(), self._signer.key)
        except Problem as problem:
            return problem.sentence()
        return ""

    def sign_with_own_key(self, reports: Sequence[VerificationReport], verdict: str, remark: str) -> None:
        """Sign visits with the desk's own key, each of them; Problem when that cannot be."""
        if self._signer is None or self._door.token is not None:
            raise Problem(self.why_not())
        enrolment = self.enrolment()
        who = supervisor(enrolment, self._signer.key)
        self._sign(prepare_sign_offs(list(reports), who, enrolment, verdict=verdict, remark=remark), self._signer)

    def sign_hazard(
        self,
        key: str,
        prepare: Callable[[VerificationReport, EnrolledKey, Enrolment | None], Prepared],
    ) -> None:
        """Sign a statement on a hazard of a visit with the desk's own key; Problem when that cannot be."""
        if self._signer is None or self._door.token is not None:
            raise Problem(self.why_not())
        enrolment = self.enrolment()
        who = supervisor(enrolment, self._signer.key)
        self._sign(prepare(self._dossier(key).report, who, enrolment), self._signer)

    def prepare_hazard(
        self,
        key: str,
        passkey: Any,
        prepare: Callable[[VerificationReport, EnrolledKey, Enrolment | None], Prepared],
    ) -> dict[str, Any]:
        """Return the challenge of a statement on a hazard for a supervisor's passkey; Problem when it is none."""
        enrolment = self.enrolment()
        if not is_digest(passkey):
            raise Problem("nobody is named who signs", remedy="choose your passkey")
        who = self._may_sign(enrolment, passkey, [key])
        return self._challenge(prepare(self._dossier(key).report, who, enrolment))

    def _sign(self, prepared: Prepared, signer: Signer) -> None:
        """Sign, and note it; a statement on a hazard leaves the verdict as it is."""
        supervisor(self.enrolment(), signer.key)
        kept = self._index.store.one(self._index.key_of(prepared.folders[0]))
        prepared.signed(signer)
        self._index.signed(
            prepared.folders, str(prepared.statements[0].get("verdict", kept.signed if kept else ""))
        )

    async def _prepare(self, request: Request) -> Response:
        form = await self.form(request)
        visits, verdict, remark = form.get("visits"), form.get("verdict"), form.get("remark", "")
        if not (isinstance(visits, list) and isinstance(verdict, str) and isinstance(remark, str)):
            raise HTTPException(400, "This is no form of the desk.")
        return JSONResponse(await run_in_threadpool(self._prepared, visits, verdict, remark, form.get("key")))

    def _prepared(self, visits: Sequence[Any], verdict: str, remark: str, key: Any) -> dict[str, Any]:
        if not 0 < len(visits) <= MOST_AT_ONCE:
            raise Problem(f"{len(visits)} visits at once", remedy=f"sign 1 to {MOST_AT_ONCE}")
        enrolment = self.enrolment()
        own = self._signer if key is None else None
        name = own.key if own else key
        if not is_digest(name):
            raise Problem("nobody is named who signs", remedy="choose your passkey")
        who = self._may_sign(
            enrolment, name, [str(each.get("visit")) for each in visits if isinstance(each, dict)]
        )
        reports = []
        for each in visits:
            if not isinstance(each, dict):
                raise HTTPException(400, "This is no form of the desk.")
            report = self._dossier(str(each.get("visit"))).report
            if report.head is None or each.get("digest") != report.head.digest:
                raise HTTPException(409, "A record is not the one that was on the page: look at it again.")
            reports.append(report)
        return self._challenge(prepare_sign_offs(reports, who, enrolment, verdict=verdict, remark=remark))

    def prepare_together(self, reports: dict[str, VerificationReport], passkey: Any) -> dict[str, Any]:
        """Return the challenge of accepting visits, by their keys, for a supervisor's passkey; Problem if none."""
        if not is_digest(passkey):
            raise Problem("nobody is named who signs", remedy="choose your passkey")
        enrolment = self.enrolment()
        who = self._may_sign(enrolment, passkey, list(reports))
        return self._challenge(
            prepare_sign_offs(list(reports.values()), who, enrolment, verdict="accepted", remark="")
        )

    def _may_sign(self, enrolment: Enrolment | None, name: str, keys: Sequence[str]) -> EnrolledKey:
        """Return the supervisor of that key.

        Problem when they do not look after the office of each of the visits, or are not the one who signed in.
        """
        who = supervisor(enrolment, name)
        if self._person is not None and who.key != self._person.key:
            raise Problem(f"{who.name} has not signed in here", remedy="let them sign in themselves")
        theirs = self._index.within(who.offices).store
        if any(theirs.one(key) is None for key in keys):
            raise Problem(f"{who.name} does not look after the office of this visit",
                          remedy="pass it on to who does")  # fmt: skip
        return who

    def _challenge(self, prepared: Prepared) -> dict[str, Any]:
        """Keep what is prepared, and return its token with what the signer is to be asked for."""
        answer: dict[str, Any] = {
            "token": self.wait(prepared),
            "challenge": bytes_to_base64url(prepared.challenge),
            "name": prepared.who.name,
        }
        if prepared.who.passkey is not None:
            answer |= {
                "host": prepared.who.passkey.host,
                "credential": bytes_to_base64url(bytes.fromhex(prepared.who.passkey.credential)),
            }
        return answer

    async def _complete(self, request: Request) -> Response:
        form = await self.form(request)
        prepared = self.taken(form.get("token"), Prepared)
        answer = form.get("assertion")
        if prepared.who.passkey is not None and isinstance(answer, dict):
            signer: Signer = Assertion(prepared.who.passkey, answer)
        elif answer is None and self._signer is not None:
            signer = self._signer
        else:
            raise HTTPException(403, self.why_not() or "Sign with the passkey that it was prepared for.")
        await run_in_threadpool(self._sign, prepared, signer)
        return JSONResponse({"signed": len(prepared.statements), "by": prepared.who.name})

    async def _begin(self, request: Request) -> Response:
        await self.form(request)
        host, challenge = request.url.hostname or "", secrets.token_bytes(32)
        if _is_address(host):
            there = request.url.replace(hostname="localhost", path="/", query="")
            raise Problem(f"browsers make no passkey for a bare address like {host}", remedy=f"open {there}")
        return JSONResponse(asked_for(host, challenge) | {"token": self.wait(challenge)})

    async def _finish(self, request: Request) -> Response:
        form = await self.form(request)
        challenge = self.taken(form.get("token"), bytes)
        origin = f"{request.url.scheme}://{request.url.netloc}"
        passkey = made(form.get("response"), request.url.hostname or "", origin, challenge)
        return PlainTextResponse(for_the_office(passkey))

    async def form(self, request: Request) -> dict[str, Any]:
        """Return the members of a form that this desk's own page sent; over the network there is none to send."""
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > LONGEST_FORM:
                raise HTTPException(413, "This form is too long.")
        try:
            form = json.loads(body)
        except (ValueError, RecursionError) as error:
            raise HTTPException(400, "This is no form of the desk.") from error
        if not isinstance(form, dict) or not self._door.form_is_ours(str(form.get("form_token", ""))):
            raise HTTPException(403, "This form is not of this desk, or is too old: open the page again.")
        if self._door.token is not None:
            raise HTTPException(403, READS_ONLY)
        return form

    def wait(self, what: Any) -> str:
        """Keep something for some minutes and return the token that it is fetched with."""
        now = time.monotonic()
        self._waiting = {token: kept for token, kept in self._waiting.items() if now - kept[0] < WAITS_S}
        while len(self._waiting) >= MOST_WAITING:
            del self._waiting[next(iter(self._waiting))]
        token = secrets.token_urlsafe(16)
        self._waiting[token] = (now, what)
        return token

    def taken(self, token: Any, kind: type[Any]) -> Any:
        """Return what waited under a token, once."""
        since, what = self._waiting.pop(str(token), (0.0, None))
        if not isinstance(what, kind) or time.monotonic() - since >= WAITS_S:
            raise HTTPException(409, "This waited too long, or was signed already: open the page again.")
        return what

    def passkeys(self) -> list[EnrolledKey]:
        """Return the supervisors who may sign with a passkey of this desk.

        There are none where a token was asked for, nor without a list that can be read.
        """
        try:
            enrolment = None if self._door.token is not None else self.enrolment()
        except Problem:
            enrolment = None
        found = [] if enrolment is None else enrolment.of(Role.SUPERVISOR)
        found = [each for each in found if self._person is None or each.key == self._person.key]
        return [each for each in found if each.passkey is not None and not each.valid_until]
