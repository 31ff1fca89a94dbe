"""What earlier frames and requests said that later frames need."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Hashable

    from meterlog.conversation.poller import PolledRequest


@dataclass(slots=True, kw_only=True)
class Memory:
    """The memory of one conversation; it changes with each frame.

    Attributes:
        request: the one that frames answer now; None where nothing was asked, or it is not known what.
        message: the name of the message that a frame was tried as last.
        columns: the names of the columns, as the last header line told them; none before one came.
        fields: the codes and numbers that messages keep for later ones, by the names of their fields.
    """

    request: PolledRequest | None = None
    message: str = ""
    columns: tuple[bytes, ...] = ()
    fields: dict[str, Hashable] = field(default_factory=dict)

    def copy(self, **said: Any) -> Memory:
        """The same, with something else said; what changes there changes nothing here."""
        return replace(self, fields=dict(self.fields), **said)
