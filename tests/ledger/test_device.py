"""The device's own key: made on first use, turned forward, handed over, replaced."""

from __future__ import annotations

from pathlib import Path

import pytest
from faulty_disk import FaultyDisk
from visits import STATE, VISIT, ToldClock, begin

from handsfree.ledger import CLOSED, DeviceKey, state_folder, verify
from handsfree.ledger.slots import SLOT
from handsfree.problem import Problem


def test_the_key_is_made_once_and_stays() -> None:
    """The public key is 64 hex digits and the same each time."""
    disk = FaultyDisk()
    key = DeviceKey(STATE, disk, uses=3).public_key()
    assert len(bytes.fromhex(key)) == 32
    assert DeviceKey(STATE, disk).public_key() == key
    assert disk.mode(STATE / "device.key") == 0o600
    assert disk.mode(STATE) == 0o700


def test_each_use_is_proved_by_the_public_key_and_its_secret_is_gone() -> None:
    """The one-time keys are used in order; what was on the disk for an earlier use is overwritten."""
    disk = FaultyDisk()
    device = DeviceKey(STATE, disk, uses=3)
    key = device.public_key()
    seen = []
    for use in range(3):
        before = disk.bytes_of(STATE / "device.key")
        proof, signer = device.use_next()
        after = disk.bytes_of(STATE / "device.key")
        assert (proof.key, proof.use, proof.uses) == (key, use, 3)
        assert proof.leads_to_key()
        assert signer.public_key().public_bytes_raw().hex() == proof.signer
        assert before[: SLOT // 2] not in after
        seen.append(proof.signer)
    assert len(set(seen)) == 3


def test_a_used_up_key_is_told_and_can_be_renewed() -> None:
    """After the last use a new key is needed; records of the old one still verify."""
    disk, clock = FaultyDisk(), ToldClock()
    device = DeviceKey(STATE, disk, uses=1)
    with begin(disk, clock, uses=1) as ledger:
        ledger.append([(CLOSED, {})])
    with pytest.raises(Problem, match="all 1 keys of this device are used up; make a new device key"):
        begin(disk, clock, VISIT.with_name("second"), uses=1)
    old = device.public_key()
    new = device.renew()
    assert new != old
    begin(disk, clock, VISIT.with_name("third")).release()
    assert verify(VISIT, files=disk, device_key=old).ok
    assert "device key" in verify(VISIT.with_name("third"), files=disk, device_key=new).checks


def test_a_busy_device_key_is_told() -> None:
    """Two programs cannot use the device key at once."""
    disk = FaultyDisk()
    device = DeviceKey(STATE, disk, uses=1)
    device.public_key()
    disk.locks.add(STATE / "device.lock")
    with pytest.raises(Problem, match="another program is using the device key; try again"):
        device.public_key()


def test_a_lost_key_is_made_anew_and_the_old_records_still_verify() -> None:
    """When the state folder is lost, the office's copy of the old public key is what old records answer to."""
    disk = FaultyDisk()
    with begin(disk) as ledger:
        ledger.append([(CLOSED, {})])
    old = DeviceKey(STATE, disk).public_key()
    elsewhere = Path("/new-state")
    assert DeviceKey(elsewhere, disk, uses=2).public_key() != old
    assert verify(VISIT, files=disk, device_key=old, state=elsewhere).ok


@pytest.mark.parametrize(
    ("environment", "folder"),
    [
        ({"HANDSFREE_STATE": "/chosen", "XDG_STATE_HOME": "/xdg"}, Path("/chosen")),
        ({"XDG_STATE_HOME": "/xdg"}, Path("/xdg/handsfree")),
        ({}, Path.home() / ".local" / "state" / "handsfree"),
    ],
)
def test_the_state_folder_follows_the_xdg_base_directories(environment: dict[str, str], folder: Path) -> None:
    """XDG Base Directory Specification 0.8: XDG_STATE_HOME, or .local/state in the home folder."""
    assert state_folder(environment) == folder
