"""Making a passkey: what the browser is asked for, and what the office is given to enrol.

W3C Web Authentication, level 2: registration is section 7.1. Nothing is enrolled here: the public part goes into a
file, and whoever holds the office's key adds it to the list.
"""

from __future__ import annotations

import json
import secrets
from dataclasses import asdict
from typing import Any

from handsfree.office.enrolment import Passkey
from handsfree.office.signatures import MISSHAPEN, key_of_passkey
from handsfree.problem import Problem


def asked_for(host: str, challenge: bytes) -> dict[str, Any]:
    """Return what a browser is to be asked for: a passkey of this host that verifies its person."""
    from webauthn import generate_registration_options, options_to_json  # noqa: PLC0415 - only where passkeys are
    from webauthn.helpers.structs import (  # noqa: PLC0415
        AuthenticatorSelectionCriteria,
        ResidentKeyRequirement,
        UserVerificationRequirement,
    )

    options = generate_registration_options(
        rp_id=host,
        rp_name="Handsfree desk",
        user_name="supervisor",
        user_id=secrets.token_bytes(16),
        challenge=challenge,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.PREFERRED,
            user_verification=UserVerificationRequirement.REQUIRED,
        ),
    )
    asked: dict[str, Any] = json.loads(options_to_json(options))
    return asked


def made(response: Any, host: str, origin: str, challenge: bytes) -> Passkey:
    """Return the passkey that a browser's answer holds; Problem when it is no such answer."""
    from webauthn import verify_registration_response  # noqa: PLC0415
    from webauthn.helpers.exceptions import WebAuthnException  # noqa: PLC0415

    try:
        found = verify_registration_response(
            credential=response,
            expected_challenge=challenge,
            expected_rp_id=host,
            expected_origin=origin,
            require_user_verification=True,
        )
    except (WebAuthnException, *MISSHAPEN) as error:
        raise Problem(f"no passkey was made ({error})", remedy="try again") from error
    return Passkey(found.credential_id.hex(), found.credential_public_key.hex(), host)


def for_the_office(passkey: Passkey) -> str:
    """Return the content of the file that is handed to the office."""
    return json.dumps({"key": key_of_passkey(passkey), "passkey": asdict(passkey)}, indent=1) + "\n"
