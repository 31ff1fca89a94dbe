"""Photographs from a browser: what they are by their own bytes, and what they carry besides the picture taken off.

A camera writes the place, the time and its own number into a picture. The page draws it anew before it is sent;
whoever sends one past the page is served the same: only what draws the picture stays, and which way is up.
"""

from __future__ import annotations

import struct

LARGEST = 8_000_000
"""Bytes of the largest photograph."""
PNG = b"\x89PNG\r\n\x1a\n"
PNG_KEPT = frozenset({b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT"})
"""Chunks that draw the picture (PNG, third edition, clause 11)."""
WEBP_KEPT = frozenset({b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP"})
"""Chunks that draw the picture (RFC 9649, section 2.7)."""
WEBP_EXIF_AND_XMP = 0x0C
UP, EXIF = 0x0112, b"Exif\x00\x00"
"""The tag that says which way is up, and the head of a JPEG's segment that holds it (CIPA DC-008, from memory)."""


def image_type(content: bytes) -> str | None:
    """The media type of a JPEG, PNG or WebP by its signature, None for anything else."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(PNG):
        return "image/png"
    return "image/webp" if content[:4] == b"RIFF" and content[8:12] == b"WEBP" else None


def without_metadata(content: bytes) -> bytes:
    """The picture without what a camera wrote beside it. Raises: ValueError, when its bytes are no whole picture."""
    kind = image_type(content)
    try:
        return {"image/jpeg": _bare_jpeg, "image/png": _bare_png, "image/webp": _bare_webp}[kind or ""](content)
    except (KeyError, IndexError, struct.error):
        raise ValueError("a photograph is a whole JPEG, PNG or WebP picture") from None


def _bare_jpeg(content: bytes) -> bytes:
    """Without its application segments and comments; the first, JFIF, and the colours' stay."""
    out, at, up = [content[:2]], 2, 1
    while content[at + 1] != 0xDA:  # the scan: from here on it is the picture
        if content[at] != 0xFF:
            raise ValueError("a segment of a JPEG begins with FF")
        marker, end = content[at + 1], at + 2 + struct.unpack_from(">H", content, at + 2)[0]
        segment = content[at:end]
        if marker == 0xE1 and segment[4:10] == EXIF:
            up = _which_way_up(segment[10:])
        if not (0xE1 <= marker <= 0xEF or marker == 0xFE) or segment[4:16] == b"ICC_PROFILE\x00":
            out.append(segment)
        at = end
    if up != 1:
        out.insert(1, _only_up(up))
    last = content.rindex(b"\xff\xd9") + 2
    return b"".join(out) + content[at:last]


def _which_way_up(tiff: bytes) -> int:
    """1 to 8 from the first directory of an Exif block; 1 where it says nothing that can be read."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 1
    try:
        first = struct.unpack_from(order + "I", tiff, 4)[0]
        for n in range(struct.unpack_from(order + "H", tiff, first)[0]):
            tag, _, _, value = struct.unpack_from(order + "HHIH", tiff, first + 2 + 12 * n)
            if tag == UP:
                return value if 1 <= value <= 8 else 1
    except struct.error:
        pass
    return 1


def _only_up(up: int) -> bytes:
    """A segment that says which way is up and nothing else."""
    tiff = b"MM\x00\x2a" + struct.pack(">IHHHIHHI", 8, 1, UP, 3, 1, up, 0, 0)
    return b"\xff\xe1" + struct.pack(">H", 2 + len(EXIF) + len(tiff)) + EXIF + tiff


def _bare_png(content: bytes) -> bytes:
    out, at = [PNG], len(PNG)
    while True:
        length, kind = struct.unpack_from(">I4s", content, at)
        end = at + 12 + length
        if end > len(content):
            raise ValueError("a PNG ends within a chunk")
        if kind in PNG_KEPT:
            out.append(content[at:end])
        at = end
        if kind == b"IEND":
            return b"".join(out)


def _bare_webp(content: bytes) -> bytes:
    out, at, whole = [b"WEBP"], 12, 8 + struct.unpack_from("<I", content, 4)[0]
    if whole > len(content):
        raise ValueError("a WebP ends within a chunk")
    while at < whole:
        kind, length = struct.unpack_from("<4sI", content, at)
        chunk = bytearray(content[at : at + 8 + length + length % 2])
        if kind == b"VP8X":
            chunk[8] &= ~WEBP_EXIF_AND_XMP & 0xFF
        if kind in WEBP_KEPT:
            out.append(bytes(chunk))
        at += 8 + length + length % 2
    body = b"".join(out)
    return b"RIFF" + struct.pack("<I", len(body)) + body
