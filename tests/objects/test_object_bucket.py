"""Objects in a store that speaks S3: SeaweedFS itself, since a mock takes wrong bytes and writes over."""

import hashlib
import json
import subprocess
import sys

import pytest

from handsfree.objects import bucket as buckets
from handsfree.objects.bucket import ObjectBucket
from handsfree.objects.keeping import StoreFailed, fetch_visit, keep_visit
from tests.object_store import KEYS, object_store

pytestmark = [
    pytest.mark.slow("an object store is started: four processes in one, some seconds"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # the library leaves its sockets to the collector
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(scope="module")
def endpoint(tmp_path_factory):
    """The address of a running object store with one bucket."""
    with object_store(tmp_path_factory.mktemp("weed")) as address:
        yield address


@pytest.fixture
def store(endpoint, monkeypatch):
    """The bucket as the program finds it."""
    monkeypatch.setenv("AWS_ENDPOINT_URL", endpoint)
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", KEYS["accessKey"])
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", KEYS["secretKey"])
    monkeypatch.setenv("AWS_DEFAULT_REGION", "local")
    buckets._client.cache_clear()
    yield ObjectBucket.named("s3://visits/2026")
    buckets._client.cache_clear()


def test_a_visit_is_kept_once_and_comes_back(visit, store, tmp_path):
    """The second time it is known; the object is the archive, byte for byte."""
    kept = keep_visit(visit, store)
    assert not kept.known
    assert keep_visit(visit, store).known
    assert list(store.digests()) == [kept.digest]
    fetch_visit(store, kept.digest, tmp_path / "out")
    assert (tmp_path / "out" / "ledger.jsonl").read_bytes() == (visit / "ledger.jsonl").read_bytes()


def test_the_store_refuses_other_bytes_than_were_promised_and_a_second_writing(store, tmp_path):
    """The checksum goes along; what is there stays as it was."""
    (tmp_path / "right").write_bytes(b"right")
    digest = hashlib.sha256(b"right").hexdigest()
    (tmp_path / "wrong").write_bytes(b"wrong")
    with pytest.raises(StoreFailed):
        store.put(tmp_path / "wrong", digest)
    assert digest not in set(store.digests())
    assert store.put(tmp_path / "right", digest)
    assert not store.put(tmp_path / "right", digest)
    with store.reading(digest) as stream:
        assert stream.read() == b"right"


def test_what_is_not_there_is_told_in_one_sentence(store, monkeypatch):
    """No such object, no such bucket, no store at all."""
    with pytest.raises(StoreFailed, match="NoSuchKey"), store.reading("0" * 64):
        pass
    with pytest.raises(StoreFailed, match="NoSuchBucket"):
        list(ObjectBucket.named("s3://nowhere-at-all").digests())
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
    monkeypatch.setenv("AWS_MAX_ATTEMPTS", "1")
    buckets._client.cache_clear()
    with pytest.raises(StoreFailed, match="Could not connect"):
        list(store.digests())


def test_a_fleet_verifies_what_lies_in_the_store(store, tmp_path):
    """The workers fetch each object; one that is no visit is unreadable and hides no other."""
    script = "from handsfree.commands.app import main; main()"
    command = ["fleet", "verify", "s3://visits/2026", "--workers", "1", "--results", str(tmp_path / "found.jsonl")]
    done = subprocess.run([sys.executable, "-c", script, *command], capture_output=True, text=True, check=False)
    lines = [json.loads(line) for line in (tmp_path / "found.jsonl").read_text().splitlines()]
    assert {line["digest"] for line in lines} == set(store.digests())
    assert len(lines) == 2, done.stdout + done.stderr
    assert done.returncode == 1
    assert all(line["verdict"] in {"unreadable", "broken"} for line in lines)
