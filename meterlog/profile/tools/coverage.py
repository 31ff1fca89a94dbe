"""What a profile's examples prove of it: rows they never reach, and what damage it would not notice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.readings import Bound, Frame
from meterlog.base.source import Problems
from meterlog.profile.compile.checks import sum_of
from meterlog.profile.compile.examples import heard
from meterlog.profile.compile.meaning import Lamps, Table, WordList, shown
from meterlog.profile.language.facts import facts_in_words

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable

    from meterlog.base.readings import Reading
    from meterlog.profile.compile.compiler import Profile
    from meterlog.profile.compile.meaning import Former
    from meterlog.profile.language.keys import Example

MOST_EXAMPLES = 4
NO_EXAMPLES = "there are no examples: nothing proves that a frame is read as the display shows it"
LONGEST = 64
OPENS = frozenset({"resistance", "continuity", "junction_voltage"})
"""What shows an open circuit as an overload: what that proves depends on where the range ends."""
TELL_THE_END = 'write for example "up to 40 Mohm" where the range is told, or an open circuit can\'t be judged'


def unreached(profile: Profile) -> list[str]:
    """The rows of tables, bits and special values that no example reaches, those first that change what is measured.

    The profile must be compiled anew.
    """
    told: dict[str, bool] = {}
    for message in profile.messages:
        for former in message.formers:
            for who, reached in _rows(former):
                told[who] = told.get(who, False) or reached
    missed = [who for who, reached in told.items() if not reached]
    return sorted(missed, key=lambda who: ("flag " in who, who.startswith("bit "), not who.endswith("(special)")))


def crowded(profile: Profile) -> list[str]:
    """Readings of one frame that stand in one channel, in sentences: a channel is one display."""
    lines = []
    for message in profile.messages:
        seen: dict[str, int] = {}
        for place, (said, former) in enumerate(zip(message.says.readings, message.formers, strict=True), start=1):
            told = any(facts.channel for source in former.sources for facts in source.says)
            if told or said.channel.startswith("{"):
                continue
            channel = said.channel or "main"
            if channel in seen:
                both = f"readings {seen[channel]} and {place} of {message.name}"
                lines.append(f"{both} share the channel {channel!r}: give each its own, for a channel is one display")
            seen.setdefault(channel, place)
    return lines


def endless(readings: Iterable[Reading]) -> list[str]:
    """Quantities that show an overload on a range whose end nobody told, in sentences: no verdict can rest on one."""
    found = {
        reading.form.quantity
        for reading in readings
        if reading.form.bound is Bound.OVERLOAD and reading.form.quantity in OPENS and reading.form.range_top is None
    }
    return [f"{name}: its overload says nothing without the range's end: {TELL_THE_END}" for name in sorted(found)]


def read_of_examples(profile: Profile) -> list[Reading]:
    """What the frames of all examples are read as."""
    return [each for example in profile.said.examples for each in _read(profile, example, example.frame)]


def _rows(former: Former) -> list[tuple[str, bool]]:
    """Every row that chooses the form of a reading, and whether a believed frame has had it."""
    rows = []
    if former.special:
        met = {key[3] for key in former.met}
        rows += [(f"{former.special.who} {shown(code)} (special)", code in met) for code in former.special.rows]
    for place, source in enumerate(former.sources, start=4):
        met = {key[place] for key in former.met}
        if isinstance(source, Table):
            met = set(map(source.row, met))
            rows += [
                (f"{source.who} {shown(code)}", code in met or bool(facts.reject))
                for code, facts in source.rows.items()
            ]
        elif isinstance(source, WordList):
            said = {word for code in met if isinstance(code, tuple) for word in code}
            rows += [(f"{source.who} {shown(word)}", word in said) for word in source.rows]
        elif isinstance(source, Lamps):
            rows += [
                (f"{who} ({facts_in_words(facts)})", any(_lit(code, byte, mask) for code in met) or bool(facts.reject))
                for who, byte, mask, facts in source.rows
            ]
    return rows


def _lit(code: Hashable, byte: int, mask: int) -> bool:
    """Whether the code of lamps has a lamp lit."""
    return isinstance(code, bytes) and bool(code[byte] & mask)


@dataclass(frozen=True, slots=True, kw_only=True)
class DamageTried:
    """How many frames with one changed byte were tried, and how many of them gave a reading that differs."""

    tried: int
    unnoticed: int


def damage(profile: Profile) -> DamageTried:
    """Change each byte of the first examples to every other value, and see what is read."""
    tried = unnoticed = 0
    for example in [e for e in profile.said.examples if e.shows][:MOST_EXAMPLES]:
        right = _read(profile, example, example.frame)
        for place in range(min(len(example.frame), LONGEST)):
            for value in range(256):
                if value == example.frame[place]:
                    continue
                changed = example.frame[:place] + bytes([value]) + example.frame[place + 1 :]
                tried += 1
                unnoticed += any(reading not in right for reading in _read(profile, example, changed))
    return DamageTried(tried=tried, unnoticed=unnoticed)


def _read(profile: Profile, example: Example, frame: bytes) -> list[Reading]:
    return [r for o in heard(example, profile.conversation(), frame) if isinstance(o, Frame) for r in o.readings]


def risk(profile: Profile) -> list[str]:
    """What damage on the line could go unnoticed, in sentences."""
    said, lines = profile.said, []
    for check in said.all_checks:
        made = sum_of(check, Problems(""))
        if made is not None:
            lines.append(f"{check.kind} proves each frame: of those damaged at random, 1 in {made.values:,} passes")
            if not made.sees_order:
                lines.append("a sum or xor does not see bytes that changed places")
    bare = [message.name for message in profile.messages if not message.says.checks and not said.checks]
    if bare:
        which = "no check" if len(bare) == len(profile.messages) else f"no check in {', '.join(bare[:4])}"
        lines.append(
            f"{which}: damage is noticed only where a byte is no longer what the profile allows there; "
            "a figure that became another figure is believed"
        )
    found = damage(profile)
    if found.tried:
        part = 100 * found.unnoticed / found.tried
        lines.append(
            f"tried: {found.tried:,} frames with one changed byte; "
            f"{found.unnoticed:,} ({part:.2g} %) were read as something else"
        )
    return lines
