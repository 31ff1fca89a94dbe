"""Streams as they come from a bench: whole frames between noise, split anywhere."""

from hypothesis import strategies as st


def noise(most: int = 40) -> st.SearchStrategy[bytes]:
    return st.binary(max_size=most)


def splits(data: bytes) -> st.SearchStrategy[list[bytes]]:
    """The same bytes in pieces."""
    cuts = st.lists(st.integers(0, len(data)), max_size=8).map(sorted)
    return cuts.map(lambda at: [data[a:b] for a, b in zip([0, *at], [*at, len(data)], strict=True)])
