"""A Merkle log as RFC 9162, section 2.1 describes it: roots, inclusion proofs, consistency proofs.

Leaves are given as their hashes, SHA-256(0x00 ‖ leaf); a node is SHA-256(0x01 ‖ left ‖ right).
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(leaf: bytes) -> bytes:
    """The hash of a leaf, 32 bytes."""
    return hashlib.sha256(b"\x00" + leaf).digest()


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def merkle_root(leaves: Sequence[bytes]) -> bytes:
    """The root over a list of leaves, in order."""
    return Tree([leaf_hash(leaf) for leaf in leaves]).root()


class Tree:
    """The tree over a list of leaf hashes, all its levels kept: a proof is looked up, not computed anew."""

    def __init__(self, hashes: Sequence[bytes]) -> None:
        level = list(hashes)
        self._levels = [level]
        while len(level) > 1:
            paired = [_node(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
            level = paired + level[len(paired) * 2 :]
            self._levels.append(level)

    @property
    def size(self) -> int:
        """How many leaves."""
        return len(self._levels[0])

    def root(self, size: int | None = None) -> bytes:
        """The root over the first `size` leaves; over all by default."""
        return self._range(0, self.size if size is None else size)

    def inclusion(self, index: int) -> list[bytes]:
        """The path from the leaf of that index, from 0, to the root: section 2.1.3.1. Raises: IndexError."""
        if not 0 <= index < self.size:
            raise IndexError(f"leaf {index} of {self.size}")
        path = []
        for level in self._levels[:-1]:
            sibling = index ^ 1
            if sibling < len(level):
                path.append(level[sibling])
            index //= 2
        return path

    def consistency(self, size: int) -> list[bytes]:
        """The proof that the first `size` leaves are a beginning of all: section 2.1.4.1. Raises: IndexError."""
        if not 0 < size <= self.size:
            raise IndexError(f"a tree of {self.size} has no beginning of {size}")
        return self._sub_proof(size, 0, self.size, is_whole=True)

    def _sub_proof(self, size: int, start: int, count: int, *, is_whole: bool) -> list[bytes]:
        if size == count:
            return [] if is_whole else [self._range(start, count)]
        half = _split(count)
        if size <= half:
            return [*self._sub_proof(size, start, half, is_whole=is_whole), self._range(start + half, count - half)]
        return [
            *self._sub_proof(size - half, start + half, count - half, is_whole=False),
            self._range(start, half),
        ]

    def _range(self, start: int, count: int) -> bytes:
        """The root over `count` leaves from `start`, which is a multiple of the power of two that holds them."""
        if count == 0:
            return EMPTY_ROOT
        if count & (count - 1) == 0:
            level = count.bit_length() - 1
            return self._levels[level][start >> level]
        half = _split(count)
        return _node(self._range(start, half), self._range(start + half, count - half))


def _split(count: int) -> int:
    """The largest power of two below a count of at least 2."""
    return 1 << ((count - 1).bit_length() - 1)


def root_from_inclusion(hashed: bytes, index: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """The root of the tree of `size` leaves in which a leaf's hash stands at `index`, by its path: section 2.1.3.2.

    None when the path is not of that tree's shape.
    """
    if not 0 <= index < size:
        return None
    node, last = index, size - 1
    for sibling in path:
        if last == 0:
            return None
        if node & 1 or node == last:
            hashed = _node(sibling, hashed)
            while not node & 1 and node:
                node, last = node >> 1, last >> 1
        else:
            hashed = _node(hashed, sibling)
        node, last = node >> 1, last >> 1
    return hashed if last == 0 else None


def is_beginning(old_size: int, old_root: bytes, size: int, root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether a tree with the old size and root is a beginning of the other, by its proof: section 2.1.4.2."""
    if old_size == size:
        return old_root == root and not proof
    if not 0 < old_size < size or not proof:
        return False
    path = list(proof) if old_size & (old_size - 1) else [old_root, *proof]
    node, last = old_size - 1, size - 1
    while node & 1:
        node, last = node >> 1, last >> 1
    old = new = path[0]
    for sibling in path[1:]:
        if last == 0:
            return False
        if node & 1 or node == last:
            old, new = _node(sibling, old), _node(sibling, new)
            while not node & 1 and node:
                node, last = node >> 1, last >> 1
        else:
            new = _node(new, sibling)
        node, last = node >> 1, last >> 1
    return last == 0 and old == old_root and new == root
