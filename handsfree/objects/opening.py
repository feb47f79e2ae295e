"""Which store of objects the command line names."""

from __future__ import annotations

from pathlib import Path

from handsfree.objects.bucket import SCHEME, ObjectBucket
from handsfree.objects.folder import ObjectFolder
from handsfree.objects.keeping import ObjectStore


def object_store_of(store: str) -> ObjectStore:
    """Return the object store that the command line names, a folder made when it is not there; raises Problem."""
    if store.startswith(SCHEME):
        return ObjectBucket.named(store)
    folder = ObjectFolder(Path(store).resolve())
    folder.begin()
    return folder
