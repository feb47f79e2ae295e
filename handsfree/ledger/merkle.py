"""One short public key for many one-time keys: the Merkle tree of RFC 9162, section 2.1."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence


def leaf_hash(leaf: bytes) -> bytes:
    """Return SHA-256(0x00 || leaf)."""
    return hashlib.sha256(b"\x00" + leaf).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return SHA-256(0x01 || left || right)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root(leaves: Sequence[bytes]) -> bytes:
    """Return the tree head of the leaves (RFC 9162, 2.1.1)."""
    return _head([leaf_hash(leaf) for leaf in leaves])


def folded(peaks: Sequence[bytes]) -> bytes:
    """Return the tree head over whole subtrees of falling size, the widest first (RFC 9162, 2.1.1)."""
    if not peaks:
        return hashlib.sha256().digest()
    head = peaks[-1]
    for peak in reversed(peaks[:-1]):
        head = node_hash(peak, head)
    return head


class GrowingTree:
    """The head over leaves that come one after another: never more hashes than the size has binary digits."""

    def __init__(self) -> None:
        self.size = 0
        self._peaks: list[bytes] = []

    def add(self, leaf: bytes) -> None:
        """Add a leaf at the end."""
        hashed, place = leaf_hash(leaf), self.size
        while place & 1:
            hashed, place = node_hash(self._peaks.pop(), hashed), place >> 1
        self._peaks.append(hashed)
        self.size += 1

    def root(self) -> bytes:
        """Return the head over all leaves so far."""
        return folded(self._peaks)


def path(index: int, leaves: Sequence[bytes]) -> list[bytes]:
    """Return the inclusion proof of one leaf, from the leaf upwards (RFC 9162, 2.1.3.1)."""
    return path_among(index, [leaf_hash(leaf) for leaf in leaves])


def root_from(leaf: bytes, index: int, count: int, proof: Sequence[bytes]) -> bytes | None:
    """Return the tree head that a leaf and its proof lead to (RFC 9162, 2.1.3.2), or None if they cannot."""
    if not 0 <= index < count:
        return None
    first, last, value = index, count - 1, leaf_hash(leaf)
    for step in proof:
        if last == 0:
            return None
        if first & 1 or first == last:
            value = node_hash(step, value)
            while not first & 1 and first:
                first, last = first >> 1, last >> 1
        else:
            value = node_hash(value, step)
        first, last = first >> 1, last >> 1
    return value if last == 0 else None


def _split(count: int) -> int:
    return 1 << (count - 1).bit_length() - 1


def _head(hashes: Sequence[bytes]) -> bytes:
    if not hashes:
        return hashlib.sha256().digest()
    if len(hashes) == 1:
        return hashes[0]
    middle = _split(len(hashes))
    return node_hash(_head(hashes[:middle]), _head(hashes[middle:]))


def path_among(index: int, hashes: Sequence[bytes]) -> list[bytes]:
    """Return the inclusion proof of the leaf with one of these hashes, as `path` does."""
    if len(hashes) == 1:
        return []
    middle = _split(len(hashes))
    if index < middle:
        return [*path_among(index, hashes[:middle]), _head(hashes[middle:])]
    return [*path_among(index - middle, hashes[middle:]), _head(hashes[:middle])]
