"""Proofs of the log against published ones, and against the definition written out a second time."""

import hashlib

import pytest

from meterlog.base.merkle import Tree, is_beginning, leaf_hash, root_from_inclusion

# The shared test data of Certificate Transparency implementations (merkle_tree_test.cc and its copies in other
# languages, read: inputs, roots, paths of leaves 0, 5, 2, 1 and proofs 1→8, 6→8, 2→5).
LEAVES = [bytes.fromhex(text) for text in (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"
)]  # fmt: skip
ROOTS = [bytes.fromhex(text) for text in (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)]  # fmt: skip
A, B, C = (
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
)
D = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
E = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0"
F = "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"
G = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a"
PATHS = [
    (0, 1, []), (0, 8, [A, B, C]), (5, 8, [D, E, F]),
    (2, 3, ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    (1, 5, ["6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d", B, D]),
]  # fmt: skip
CONSISTENT = [(1, 8, [A, B, C]), (6, 8, [G, E, F]), (2, 5, [B, D])]


def tree(size):
    return Tree([leaf_hash(leaf) for leaf in LEAVES[:size]])


@pytest.mark.parametrize("size", range(1, 9))
def test_roots_are_the_published_ones(size):
    assert tree(size).root() == tree(8).root(size) == ROOTS[size - 1]


@pytest.mark.parametrize(("index", "size", "path"), PATHS)
def test_paths_are_the_published_ones(index, size, path):
    assert [node.hex() for node in tree(size).inclusion(index)] == path


@pytest.mark.parametrize(("old", "size", "proof"), CONSISTENT)
def test_consistency_proofs_are_the_published_ones(old, size, proof):
    assert [node.hex() for node in tree(size).consistency(old)] == proof


def defined(leaves):
    """The Merkle tree hash as section 2.1.1 of RFC 9162 defines it, word for word."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return hashlib.sha256(b"\x00" + leaves[0]).digest()
    k = 1
    while 2 * k < len(leaves):
        k *= 2
    return hashlib.sha256(b"\x01" + defined(leaves[:k]) + defined(leaves[k:])).digest()


SIZES = range(1, 34)
MANY = [bytes([n, n // 2]) for n in range(40)]
DEFINED = [defined(MANY[:size]) for size in range(40)]


@pytest.mark.parametrize("size", SIZES)
def test_every_proof_of_every_tree_leads_to_the_defined_root_and_a_changed_one_does_not(size):
    made = Tree([leaf_hash(leaf) for leaf in MANY[:size]])
    for index in range(size):
        path = made.inclusion(index)
        assert root_from_inclusion(leaf_hash(MANY[index]), index, size, path) == DEFINED[size]
        for other in {index ^ 1, index + 1, size} - {index}:
            assert root_from_inclusion(leaf_hash(MANY[index]), other, size, path) != DEFINED[size]
        assert root_from_inclusion(leaf_hash(MANY[index]), index, size, [*path, path[0] if path else b""]) is None
    for old in range(1, size + 1):
        proof = made.consistency(old)
        assert is_beginning(old, DEFINED[old], size, DEFINED[size], proof)
        assert not is_beginning(old, DEFINED[old - 1], size, DEFINED[size], proof)
        assert not is_beginning(old, DEFINED[old], size, DEFINED[size + 1], proof)
        if proof:
            assert not is_beginning(old, DEFINED[old], size, DEFINED[size], proof[:-1])


def test_what_is_no_leaf_and_no_beginning_has_no_proof():
    with pytest.raises(IndexError):
        tree(3).inclusion(3)
    with pytest.raises(IndexError):
        tree(3).consistency(4)
