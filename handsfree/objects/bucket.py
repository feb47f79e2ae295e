"""Objects in a bucket of an object store that speaks S3, by boto3 (the extra `objects`).

Where it is and who asks is told in the way of that library: AWS_ENDPOINT_URL, AWS_ACCESS_KEY_ID,
AWS_SECRET_ACCESS_KEY, AWS_DEFAULT_REGION, or its files.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, BinaryIO

from handsfree.ledger.kinds import is_digest
from handsfree.objects.keeping import ENDING, StoreFailed
from handsfree.problem import ExitCode, Problem

SCHEME = "s3://"


@dataclass(frozen=True)
class ObjectBucket:
    """Objects in one bucket, under one prefix of their keys."""

    bucket: str
    prefix: str = ""

    @staticmethod
    def named(address: str) -> ObjectBucket:
        """Return the bucket of an address such as s3://visits/2026; raises Problem when it names none."""
        bucket, _, prefix = address.removeprefix(SCHEME).partition("/")
        if not bucket:
            raise Problem("this address names no bucket", where=address, remedy="write s3://BUCKET/PREFIX")
        return ObjectBucket(bucket, f"{prefix.strip('/')}/" if prefix.strip("/") else "")

    def digests(self) -> Iterator[str]:
        """Yield the names of all objects, in the order of the store, which is that of the names."""
        with _told(self):
            for page in (
                _client().get_paginator("list_objects_v2").paginate(Bucket=self.bucket, Prefix=self.prefix)
            ):
                for each in page.get("Contents", ()):
                    name = str(each["Key"]).removeprefix(self.prefix).removesuffix(ENDING)
                    if is_digest(name):
                        yield name

    def put(self, archive: Path, digest: str) -> bool:
        """Add an object unless the name is taken; the store itself compares the bytes with the checksum."""
        with _told(self), archive.open("rb") as body:
            try:
                _client().put_object(
                    Bucket=self.bucket,
                    Key=self._key(digest),
                    Body=body,
                    IfNoneMatch="*",
                    ChecksumSHA256=base64.b64encode(bytes.fromhex(digest)).decode("ascii"),
                )
            except _errors().ClientError as error:
                if error.response["ResponseMetadata"]["HTTPStatusCode"] != _TAKEN:
                    raise
                return False
        return True

    def remove(self, digest: str) -> None:
        """Delete an object whose visit was kept anew without a person's data; a bucket may keep older versions."""
        with _told(self):
            _client().delete_object(Bucket=self.bucket, Key=self._key(digest))

    @contextmanager
    def reading(self, digest: str) -> Iterator[BinaryIO]:
        """Give the bytes of an object."""
        with _told(self):
            found = _client().get_object(Bucket=self.bucket, Key=self._key(digest))
        with _told(self), closing(found["Body"]) as body:
            yield body

    def _key(self, digest: str) -> str:
        return f"{self.prefix}{digest}{ENDING}"


_TAKEN = 412
"""Precondition failed (RFC 9110, 15.5.13): there is an object of this name."""


@cache
def _client() -> Any:
    """Return this process's client."""
    _errors()
    import boto3  # noqa: PLC0415 - an extra

    return boto3.client("s3")


def _errors() -> Any:
    """Return the module of the library's exceptions; Problem when the library is not there."""
    try:
        from botocore import exceptions  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise Problem("object stores need boto3", remedy="pip install 'handsfree[objects]'") from error
    return exceptions


@contextmanager
def _told(bucket: ObjectBucket) -> Iterator[None]:
    """Turn what the library raises into one sentence."""
    errors = _errors()
    try:
        yield
    except (errors.BotoCoreError, errors.ClientError) as error:
        raise StoreFailed(
            f"the object store does not do it: {error}",
            where=f"{SCHEME}{bucket.bucket}/{bucket.prefix}",
            remedy="check its address (AWS_ENDPOINT_URL), the bucket's name and your rights",
            code=ExitCode.FAILED,
        ) from error
