"""Seals against the published eight-leaf tree, and the rules of leaf texts."""

import hashlib

import pytest

from meterlog.base.merkle import merkle_root
from meterlog.base.seals import NO_SEAL, Seal, leaf_text, line_hash, read_line

# The test inputs that Certificate Transparency implementations share; the eight-leaf root is the one
# quoted in many public test files (begins 5dc9da79, ends 4328). Smaller roots: same files, from memory.
LEAVES = [
    b"",
    b"\x00",
    b"\x10",
    b"\x20\x21",
    b"\x30\x31",
    b"\x40\x41\x42\x43",
    b"\x50\x51\x52\x53\x54\x55\x56\x57",
    bytes(range(0x60, 0x70)),
]
ROOTS = [
    (1, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
    (2, "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"),
    (3, "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77"),
    (7, "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c"),
    (8, "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"),
]


@pytest.mark.parametrize(("size", "root"), ROOTS)
def test_the_root_is_the_published_one(size, root):
    assert merkle_root(LEAVES[:size]).hex() == root


def test_an_empty_tree_hashes_nothing():
    assert merkle_root([]) == hashlib.sha256(b"").digest()


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"Kind": "x"}, "leaf key 'Kind': lower-case ASCII words only"),
        ({"x": 0.5}, "leaf field x: text or whole number, not float"),
        ({"x": True}, "leaf field x: text or whole number, not bool"),
        ({"x": 2**53}, f"leaf field x: {2**53} is not below 2**53"),
        ({"x": "a\nb"}, "leaf field x: control character"),
    ],
)
def test_a_leaf_refuses_what_can_be_written_two_ways(fields, message):
    with pytest.raises(ValueError, match=message.replace("*", r"\*")):
        leaf_text(fields)


def test_a_seal_is_read_back_from_its_line():
    seal = Seal(
        bench="ab" * 16, number=0, previous=NO_SEAL, root="cd" * 32, utc="2026-11-25T10:00:00.000Z",
        monotonic_ms=12, boot="b", leaves=1, acts=0,
    )  # fmt: skip
    assert read_line(seal.line) == seal
    assert seal.hash == line_hash(seal.line) == hashlib.sha256(b"\x00" + seal.line.encode()).hexdigest()
