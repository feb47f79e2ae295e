"""An object store of the company's own: SeaweedFS, where its program `weed` is, for this machine alone.

It speaks S3 at the first of four ports of 127.0.0.1; its parts sign what they ask of each other.
"""

from __future__ import annotations

import configparser
import json
import os
import secrets
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path

from handsfree.ledger.files import Disk, contents, ensure_folder, put
from handsfree.problem import Problem

FOLDER = "objects"
SETTINGS = "objects.ini"
"""The file that tells S3 clients (AWS_CONFIG_FILE) where the store is and with which key."""
BUCKET = "visits"
ADDRESS = f"s3://{BUCKET}"
PORTS = 4
_VOLUME_MB = 1024
_TOLD = {
    "ENDPOINT_URL": "endpoint_url",
    "DEFAULT_REGION": "region",
    "ACCESS_KEY_ID": "aws_access_key_id",
    "SECRET_ACCESS_KEY": "aws_secret_access_key",
}
_SIGNED = ("jwt.signing", "jwt.signing.read", "jwt.filer_signing", "jwt.filer_signing.read")


def store_program() -> Path | None:
    """Return where the store's program is, beside this Python or on the path; None where it is not."""
    beside = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)])
    found = shutil.which("weed", path=beside)
    return Path(found) if found else None


def make_objects(folder: Path, settings: Path, port: int) -> None:
    """Lay the store's folder, keys and rights ready beneath a company's folder, and tell its clients of it."""
    there, secret = folder / FOLDER, secrets.token_urlsafe(24)
    for each in ("data", "log"):
        ensure_folder(Disk(), there / each, 0o700)
    rights = {
        "name": "company",
        "credentials": [{"accessKey": "company", "secretKey": secret}],
        "actions": ["Admin", "Read", "List", "Write"],
    }
    put(Disk(), there / "rights.json", json.dumps({"identities": [rights]}).encode(), 0o600)
    keys = "".join(f'[{part}]\nkey = "{secrets.token_urlsafe(24)}"\n' for part in _SIGNED)
    put(Disk(), there / "security.toml", keys.encode(), 0o600)
    told = f"endpoint_url = http://127.0.0.1:{port}\nregion = local\naws_access_key_id = company\n"
    put(Disk(), settings, f"[default]\n{told}aws_secret_access_key = {secret}\n".encode(), 0o600)


def serving(folder: Path, port: int) -> list[str]:
    """Return the command line of the store, to be run in its folder; Problem when its program is gone."""
    program = store_program()
    if program is None:
        raise Problem("the program of the object store, weed, is not here any more", where=str(folder),
                      remedy="install SeaweedFS again")  # fmt: skip
    master, volume, filer = range(port + 1, port + PORTS)
    return [
        str(program), "-logdir=log", "-alsologtostderr=false", "-log_max_size_mb=20",
        "server", "-dir=data", "-ip=127.0.0.1", "-ip.bind=127.0.0.1", "-s3", f"-s3.port={port}",
        "-s3.config=rights.json", f"-master.port={master}", f"-volume.port={volume}", "-filer",
        f"-filer.port={filer}", "-volume.max=0", f"-master.volumeSizeLimitMB={_VOLUME_MB}",
        "-volume.preStopSeconds=0", "-s3.port.iceberg=0", "-s3.port.lance=0", "-master.telemetry=false",
    ]  # fmt: skip


def environment(settings: Path) -> Mapping[str, str]:
    """Return what tells a client of S3 where the store is and with which key; Problem when that is not told."""
    told = configparser.ConfigParser(interpolation=None)
    try:
        told.read_string(contents(Disk(), settings).decode())
        return {f"AWS_{name}": told["default"][key] for name, key in _TOLD.items()}
    except (OSError, ValueError, KeyError, configparser.Error) as error:
        raise Problem("the object store's address and key cannot be read", where=str(settings),
                      remedy="put this file back from a backup") from error  # fmt: skip


def answers(settings: Path) -> bool:
    """Say whether the store answers; its bucket is made when it is not there."""
    import boto3  # noqa: PLC0415 - the extra `objects`
    from botocore import config, exceptions  # noqa: PLC0415

    told = environment(settings)
    client = boto3.client(
        "s3", endpoint_url=told["AWS_ENDPOINT_URL"], region_name=told["AWS_DEFAULT_REGION"],
        aws_access_key_id=told["AWS_ACCESS_KEY_ID"], aws_secret_access_key=told["AWS_SECRET_ACCESS_KEY"],
        config=config.Config(connect_timeout=2, read_timeout=5, retries={"total_max_attempts": 1}),
    )  # fmt: skip
    try:
        client.create_bucket(Bucket=BUCKET)
    except client.exceptions.BucketAlreadyOwnedByYou:
        return True
    except (exceptions.BotoCoreError, exceptions.ClientError):
        return False
    return True
