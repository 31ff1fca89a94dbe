"""A bench's key replaced: why, and, where the old one is still in its owner's hands, that both say so."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from enum import StrEnum
from typing import Any

from meterlog.record.acts import ActKind
from meterlog.record.head import fingerprint_of

SignatureCheck = Callable[[bytes, bytes, bytes], "bool | None"]
"""Whether a signature is right, from public key, signature and data; None when nothing here can tell."""


class Why(StrEnum):
    """Why a key was replaced. A lost or stolen one can't vouch for the new: who holds an old sheet is told so."""

    ROUTINE = "routine"
    LOST = "lost"
    STOLEN = "stolen"


def vouching(bench: str, public: bytes) -> bytes:
    """What the old key signs of the new one."""
    return f"meterlog-key {bench} {public.hex()}\n".encode()


def replaced(
    why: Why, old: str, public: bytes, *, old_public: bytes = b"", signature: bytes = b"", since: str = ""
) -> dict[str, str]:
    """The facts of the act: fingerprints of both keys, the new public key, and the old one's signature over it."""
    return {
        "why": str(why),
        "old": old,
        "new": fingerprint_of(public),
        "public": public.hex(),
        "old_public": old_public.hex(),
        "signature": signature.hex(),
        "since": since,
    }


def key_acts(leaves: Iterable[Mapping[str, Any]]) -> list[dict[str, str]]:
    """The facts of the acts among leaves that replaced a key, in order."""
    return [json.loads(leaf["facts"]) for leaf in leaves if leaf.get("what") == ActKind.KEY_REPLACED]


def follows(bench: str, printed: str, now: str, acts: Iterable[Mapping[str, str]], check: SignatureCheck) -> str:
    """How the key of an older sheet leads to the one that signs now.

    Answers "" when each key vouched for the next; "lost" or "stolen" where one could not. Raises: ValueError when
    it leads nowhere.
    """
    came_to, broken = printed, ""
    for act in acts:
        if act["old"] not in (came_to, ""):  # "" where the file was lost, and with it which key it was
            continue
        public, old_public = bytes.fromhex(act["public"]), bytes.fromhex(act["old_public"])
        if act["why"] != Why.ROUTINE:
            broken = act["why"]
        elif fingerprint_of(old_public) != came_to or not check(
            old_public, bytes.fromhex(act["signature"]), vouching(bench, public)
        ):
            raise ValueError("the old key did not vouch for the new one")
        came_to = fingerprint_of(public)
    if came_to != now:
        raise ValueError(f"the key is {now[:16]}…, the sheet says {printed[:16]}…")
    return broken
