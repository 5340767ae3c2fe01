"""The Merkle tree of RFC 6962 section 2.1 over a site's facts: its leaves are the facts' hashes in the order of `seq`.

A root stands for every fact before it. An inclusion proof shows that one fact is among them; a consistency proof shows
that a later tree only added to an earlier one.
"""

import hashlib
from collections.abc import Iterable, Sequence

EMPTY = hashlib.sha256().digest()
"""The root of a tree without leaves: SHA-256 of nothing (RFC 6962 section 2.1)."""
_SIZE = 32


def leaf_hash(data: bytes) -> bytes:
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


class Frontier:
    """A tree that only grows: the roots of its complete subtrees, the largest first, log2(size) of them."""

    def __init__(self) -> None:
        self.size = 0
        self._roots: list[bytes] = []

    def add(self, data: bytes) -> None:
        node, self.size = leaf_hash(data), self.size + 1
        full = self.size
        while not full & 1:
            node = node_hash(self._roots.pop(), node)
            full >>= 1
        self._roots.append(node)

    def root(self) -> bytes:
        if not self._roots:
            return EMPTY
        *rest, node = self._roots
        for left in reversed(rest):
            node = node_hash(left, node)
        return node


class Tree:
    """A whole tree, for proofs: 64 bytes a leaf."""

    def __init__(self, leaves: Iterable[bytes]) -> None:
        self._levels = [bytearray().join(map(leaf_hash, leaves))]
        while len(self._levels[-1]) >= 2 * _SIZE:
            below = self._levels[-1]
            pairs = range(0, len(below) - 2 * _SIZE + 1, 2 * _SIZE)
            self._levels.append(
                bytearray().join(hashlib.sha256(b"\x01" + below[at : at + 2 * _SIZE]).digest() for at in pairs)
            )

    @property
    def size(self) -> int:
        return len(self._levels[0]) // _SIZE

    def root(self, size: int | None = None) -> bytes:
        """The root of the tree of the first `size` leaves; of all of them otherwise."""
        size = self.size if size is None else self._within(size)
        return self._range(0, size) if size else EMPTY

    def inclusion(self, index: int, size: int | None = None) -> list[bytes]:
        """The audit path of leaf `index`, counted from 0, in the tree of `size` leaves: RFC 6962 section 2.1.1."""
        size = self.size if size is None else self._within(size)
        if not 0 <= index < size:
            raise ValueError(f"leaf {index} is not in a tree of {size}")
        start, path = 0, []
        while size > 1:
            half = _split(size)
            if index - start < half:
                path.append(self._range(start + half, start + size))
                size = half
            else:
                path.append(self._range(start, start + half))
                start, size = start + half, size - half
        return path[::-1]

    def consistency(self, old: int, new: int | None = None) -> list[bytes]:
        """The proof that the tree of `new` leaves begins with that of `old`: RFC 6962 section 2.1.2."""
        new = self.size if new is None else self._within(new)
        if not 0 < old <= new:
            raise ValueError(f"a tree of {new} leaves does not begin with one of {old}")
        return self._subproof(old, 0, new, whole=True)

    def _subproof(self, old: int, start: int, size: int, *, whole: bool) -> list[bytes]:
        if old == size:
            return [] if whole else [self._range(start, start + size)]
        half = _split(size)
        if old <= half:
            return [*self._subproof(old, start, half, whole=whole), self._range(start + half, start + size)]
        rest = self._subproof(old - half, start + half, size - half, whole=False)
        return [*rest, self._range(start, start + half)]

    def _range(self, start: int, end: int) -> bytes:
        """The root of leaves start … end - 1, where `start` is a multiple of the power of two not below the length."""
        size = end - start
        if not size & (size - 1):
            level, at = size.bit_length() - 1, start // size * _SIZE
            return bytes(self._levels[level][at : at + _SIZE])
        half = _split(size)
        return node_hash(self._range(start, start + half), self._range(start + half, end))

    def _within(self, size: int) -> int:
        if not 0 <= size <= self.size:
            raise ValueError(f"the tree has {self.size} leaves, not {size}")
        return size


def _split(size: int) -> int:
    """The largest power of two below `size`."""
    return 1 << (size - 1).bit_length() - 1


def included(data: bytes, index: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Whether `path` shows that `data` is leaf `index`, counted from 0, of the tree of `size` leaves with this root.

    The steps are those of RFC 9162 section 2.1.3.2, which restates RFC 6962.
    """
    if not 0 <= index < size:
        return False
    here, last, node = index, size - 1, leaf_hash(data)
    for step in path:
        if last == 0:
            return False
        if here & 1 or here == last:
            node = node_hash(step, node)
            while not here & 1 and here:
                here, last = here >> 1, last >> 1
        else:
            node = node_hash(node, step)
        here, last = here >> 1, last >> 1
    return last == 0 and node == root


def consistent(old: int, old_root: bytes, new: int, new_root: bytes, path: Sequence[bytes]) -> bool:
    """Whether `path` shows that the tree of `new` leaves begins with that of `old`: RFC 9162 section 2.1.4.2."""
    if not 0 < old <= new:
        return False
    if old == new:
        return not path and old_root == new_root
    steps = list(path) if old & (old - 1) else [old_root, *path]
    if not steps:
        return False
    here, last = old - 1, new - 1
    while here & 1:
        here, last = here >> 1, last >> 1
    before = after = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if here & 1 or here == last:
            before, after = node_hash(step, before), node_hash(step, after)
            while not here & 1 and here:
                here, last = here >> 1, last >> 1
        else:
            after = node_hash(after, step)
        here, last = here >> 1, last >> 1
    return last == 0 and before == old_root and after == new_root
