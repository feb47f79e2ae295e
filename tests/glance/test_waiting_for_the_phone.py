"""A visit that waits for the phone's sound loses nothing that is said by keys meanwhile, and any key begins it."""

from __future__ import annotations

import pytest
from rehearsed import at
from told import Told

from handsfree.commands.phone_visit import wait_for_phone
from handsfree.commands.showing import Screen
from handsfree.glance.key_names import ENTER, STOP_BUTTON
from handsfree.glance.phone_sound import PhoneSound


class Keys:
    """The keys of the screen, as the conductor asks for them."""

    def __init__(self, told: Told) -> None:
        self.line = told.live.line


@pytest.mark.parametrize(("key", "said"), [(STOP_BUTTON, "stop work"), (ENTER, "")])
def test_a_stop_is_handed_on_and_enter_begins(key: str, said: str) -> None:
    told = Told(at("found-maximum"))
    told.live.press(key)
    screen = Screen(keys=Keys(told), live=told.live, lines=False)  # type: ignore[arg-type]
    phone = PhoneSound()
    try:
        assert wait_for_phone(phone, screen) == said
    finally:
        phone.close()
