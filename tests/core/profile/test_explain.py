"""How frames were read: each outcome is explained by its own frame, whatever stands before it."""

from meterlog.profile.compile.compiler import compiled_anew
from meterlog.profile.tools.explain import Explainer

ESCAPED = compiled_anew(
    """
profile: escaped
title: Escaped
frame: {end: hex C0, escape: {by: hex DB, codes: {0xDC: 0xC0, 0xDD: 0xDB}}, longest: 8}
readings: [{bytes: 0..1, as: u16 big, unit: g}]
""",
    "escaped",
)


def test_bytes_that_were_never_decoded_take_no_other_frame_s_explanation():
    lines = Explainer(ESCAPED).stream(bytes.fromhex("01 DB 41 C0 01 DB DC C0"))
    assert lines == [
        "frame at 0, 4 bytes",
        "     0  01 db 41 c0                                      ..A.",
        "  rejected: an escape byte stands before a byte that is never escaped",
        "",
        "frame at 4, 4 bytes",
        "     0  01 db dc c0                                      ....",
        "  as cut  01 c0 c0",
        "  message reading   [line 2]",
        "  bytes 0..1   01 c0                    value = 448 (0x1C0)   [line 5]",
        "  shows   448 g mass",
    ]
