"""What stands in one mapping of a procedure's text, key by key, before it means anything."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meterlog.base.schema import Where


class WrittenKeys(SimpleNamespace):
    """The keys of one mapping as attributes; `where` tells the place of each."""

    where: Where

    def has(self, key: str) -> bool:
        """Whether the key was written, rather than left to its default."""
        return key in self.where.keys
