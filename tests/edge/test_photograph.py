"""What a camera writes beside a picture is taken off; the picture and which way is up stay.

The bytes are put together here from the formats' own descriptions, not by the code under test.
"""

import struct
import zlib

import pytest
import records

from meterlog.web.photograph import image_type, without_metadata

PLACE = b"47 deg north, 8 deg east"


def segment(marker, body):
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def exif(order="<", up=6):
    head = {"<": b"II*\x00", ">": b"MM\x00*"}[order]
    entry = struct.pack(order + "HHIHH", 0x0112, 3, 1, up, 0)
    return b"Exif\x00\x00" + head + struct.pack(order + "IH", 8, 1) + entry + struct.pack(order + "I", 0) + PLACE


def jpeg(*segments):
    scan = segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") + b"\x12\xff\x00\x34"
    return b"\xff\xd8" + b"".join(segments) + segment(0xDB, bytes(65)) + scan + b"\xff\xd9"


def test_a_jpeg_loses_place_time_and_comment():
    plain = jpeg(segment(0xE0, b"JFIF\x00" + bytes(9)))
    full = jpeg(
        segment(0xE0, b"JFIF\x00" + bytes(9)), segment(0xE1, exif(up=1)), segment(0xED, PLACE), segment(0xFE, PLACE)
    )
    assert without_metadata(full) == plain
    assert without_metadata(plain) == plain


@pytest.mark.parametrize("order", "<>")
def test_a_jpeg_keeps_which_way_is_up_and_nothing_else(order):
    found = without_metadata(jpeg(segment(0xE1, exif(order))))
    assert PLACE not in found
    only = b"Exif\x00\x00MM\x00*" + struct.pack(">IHHHIHHI", 8, 1, 0x0112, 3, 1, 6, 0, 0)
    assert found == jpeg(segment(0xE1, only))


def test_what_hangs_behind_a_jpeg_is_cut_off():
    assert without_metadata(jpeg() + PLACE) == jpeg()


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def test_a_png_loses_its_texts():
    plain = records.small_png()
    end = plain.index(b"IEND") - 4
    full = plain[:end] + chunk(b"tEXt", b"Comment\x00" + PLACE) + chunk(b"eXIf", exif()) + plain[end:] + PLACE
    assert without_metadata(full) == plain


def test_a_webp_loses_exif_and_says_so_in_its_head():
    def part(kind, body):
        return kind + struct.pack("<I", len(body)) + body + b"\x00" * (len(body) % 2)

    def whole(*parts):
        body = b"WEBP" + b"".join(parts)
        return b"RIFF" + struct.pack("<I", len(body)) + body

    full = whole(
        part(b"VP8X", bytes([0x1C]) + bytes(9)), part(b"VP8 ", b"abc"), part(b"EXIF", PLACE), part(b"XMP ", PLACE)
    )
    assert without_metadata(full) == whole(part(b"VP8X", bytes([0x10]) + bytes(9)), part(b"VP8 ", b"abc"))


@pytest.mark.parametrize(
    "content", [b"", b"<svg/>", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\xff\x00\x00\x00WEBP", jpeg()[:20]]
)
def test_what_is_no_whole_picture_is_refused(content):
    with pytest.raises(ValueError, match=r"whole|segment|within|subsection"):
        without_metadata(content)


def test_a_type_is_told_by_the_first_bytes():
    assert [image_type(x) for x in (jpeg(), records.small_png(), b"RIFF\x00\x00\x00\x00WEBP", b"GIF89a")] == [
        "image/jpeg", "image/png", "image/webp", None,
    ]  # fmt: skip
