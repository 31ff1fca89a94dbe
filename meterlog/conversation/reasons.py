"""Reasons why a frame gives no reading that the conversation must tell apart; any other is a plain text."""

from __future__ import annotations


class Refusal(str):
    """The instrument itself says that there is no measurement: a whole answer, though no reading."""


class Unlike(str):
    """The bytes are no message of the profile: perhaps they are no answer at all."""


class Damage(str):
    """The check is not that of the bytes."""


class Untold(str):
    """A whole frame, whose meaning hangs on what an earlier one has not told."""
