"""How one message was read: which bytes became which field, by which line of the profile that was kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base.errors import MeterlogError
from meterlog.profile import read_kept_profile
from meterlog.profile.tools.explain import Explainer
from meterlog.store.queries import asked_before

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection


def explain(db: Connection, profile_text: str, reading: dict[str, Any]) -> list[str]:
    """Lines on a reading's message, its fields with the lines of the profile; empty when it can't be read any more."""
    try:
        return Explainer(read_kept_profile(profile_text, "profile")).stream(
            reading["raw"], asked_before(db, reading["id"])
        )
    except MeterlogError:
        return []
