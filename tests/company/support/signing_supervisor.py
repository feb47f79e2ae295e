"""A supervisor with a passkey who works at a desk as a browser does, over TLS: opens what waits, and signs it."""

from __future__ import annotations

import re
import ssl
from pathlib import Path
from typing import Any

import httpx2 as httpx
from authenticator import Authenticator, sign_in

SIGNED = '<p class="signed"><strong>Accepted</strong>'


class SigningSupervisor(Authenticator):
    """One person at one desk; every fault of the desk or the way to it is an OSError."""

    def __init__(self, desk: str, authority: Path) -> None:
        super().__init__()
        self._desk, self._trust = desk, ssl.create_default_context(cafile=str(authority))
        self._browser: httpx.Client | None = None
        self._in_doubt: str | None = None
        """The visit whose signing was cut off, so that it may be signed or not."""

    def close(self) -> None:
        if self._browser is not None:
            self._browser.close()
        self._browser = None

    def sign_next(self) -> str | None:
        """Accept the visit that waits next and return its key; None when none waits."""
        try:
            if self._browser is None:
                self._browser = httpx.Client(base_url=self._desk, verify=self._trust, timeout=60)
                sign_in(self._browser, self, self._desk)
            return self._sign_next(self._browser)
        except httpx.HTTPError as error:
            self.close()
            raise OSError(str(error)) from error

    def _sign_next(self, browser: httpx.Client) -> str | None:
        address = f"/visit/{self._in_doubt}" if self._in_doubt else "/next"
        page = browser.get(address, follow_redirects=True).raise_for_status()
        if page.url.path == "/sign-in":
            raise httpx.HTTPError("the desk was started again, and knows nobody")
        found = re.search(r"/visit/([0-9a-f]{16})$", page.url.path)
        if found is None:
            return None
        if self._in_doubt and SIGNED in page.text:  # it is seen on the page, as a person would see it
            self._in_doubt = None
            return found[1]

        def hidden(name: str) -> str:
            return re.search(rf'name="{name}" value="([^"]+)"', page.text)[1]

        def ask(address: str, **members: Any) -> Any:
            form = {**members, "form_token": hidden("form_token")}
            return browser.post(address, json=form).raise_for_status().json()

        visit = {"visit": found[1], "digest": hidden("digest")}
        prepared = ask("/sign/prepare", visits=[visit], verdict="accepted", remark="", key=self.key)
        answer = self.answer(prepared["challenge"], self._desk)
        self._in_doubt = found[1]
        assert ask("/sign/complete", token=prepared["token"], assertion=answer)["signed"] == 1
        self._in_doubt = None
        return found[1]
