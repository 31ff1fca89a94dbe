"""What was sent and comes back before the answer, on cables whose two directions share a wire."""

from __future__ import annotations


class Echo:
    """The bytes that one request gives back.

    Attributes:
        came: how many bytes have come and are not told yet.
        spoiled: why what comes is not believed until the next request; "" while it is as it should be.
    """

    def __init__(self, echo: bytes) -> None:
        self._echo = echo
        self.came = 0
        self.spoiled = ""

    @property
    def is_whole(self) -> bool:
        """Whether all of it has come, as it was sent."""
        return not self.spoiled and self.came == len(self._echo)

    def take(self, data: bytes) -> int:
        """How many of the bytes belong to it; all of them once they differ, for what follows may be mixed with it."""
        mine = data[: len(self._echo) - self.came]
        if not self.spoiled and self._echo[self.came : self.came + len(mine)] != mine:
            self.spoiled = "what was sent did not come back as it was sent: does this cable give it back at all?"
        taken = len(data) if self.spoiled else len(mine)
        self.came += taken
        return taken
