"""What is entered for a job, as a procedure wants it: from the rating plate, and asked of the person.

Each entry is read when it is typed, by the reader of what it is used for, and kept in one spelling:
"0,9 kW" is kept as "0.9 kW", "2000" of a power as "2000 W". What cannot be read is refused with examples.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.base.spelling import LONGEST_ENTRY, split_doubt, split_range, tidy
from meterlog.base.spelling import words as words_of
from meterlog.base.units import QUANTITIES, parse, show
from meterlog.heating.balance.vessel import read_vessel
from meterlog.heating.stated import read_mass, read_room
from meterlog.judging.postprocess import METHODS
from meterlog.parts.capacitor import decode_capacitor
from meterlog.parts.resistor import decode_resistor

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from meterlog.procedure.steps import Procedure, Step

OF_EVERY_APPLIANCE = ("make", "model")
"""Entries that every job may have, whatever its procedure asks for; a serial number is a personal field."""
COMPLAINT = "kind of complaint"
"""Entry of a job whose procedure states faults: which of its complaints the owner's words come to."""
WORDS = "words"
"""The kind of an entry that is no quantity, such as a vessel: "340 g glass"."""


class _Usual(NamedTuple):
    """How a kind of entry is written: examples; the unit that may be left out; what an appliance can have, SI."""

    examples: str
    bare: str = ""
    low: float = 0.0
    high: float = float("inf")
    slip: str = ""


_USUAL = {
    "power": _Usual('"900 W", "0.9 kW" or "2000-2400 W"', "W", 1.0, 1e5, "kW"),
    "voltage": _Usual('"230 V" or "220-240 V"', "V", 0.1, 1e5, "kV"),
    "current": _Usual('"13 A" or "350 mA"', "A", 1e-4, 1e3, "mA"),
    "frequency": _Usual('"50 Hz"', "Hz", 1.0, 1e10, "GHz"),
    "capacitance": _Usual('"0.95 uF" or "4.7 nF"', "", 1e-13, 0.1, "uF"),
    "resistance": _Usual('"24 ohm" or "4.7 kohm"', "", 1e-6, 1e13),
    "mass": _Usual('"1000 g ± 2 g", "1 kg" or "1 L"', "", 1e-4, 1e3, "g"),
    "length": _Usual('"1.8 m" or "180 cm"', "m", 1e-3, 1e3, "mm"),
    "cross_section": _Usual('"0.75 mm2" or "0.75"', "mm2", 1e-8, 1e-3, "mm2"),
    "time": _Usual('"60 s" or "2 min"', "s", 1e-3, 1e6),
    "temperature": _Usual('"21 degC" or "21 °C ± 0.5 K"', "", 73.0, 1300.0),
    "ratio": _Usual('"1.01", "1.01 ± 0.005" or "5 %"', ""),
}
"""Ends that no appliance on a bench lies beyond: a value outside is a slip of a prefix (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """An entry as it was read: its text in one spelling, and the ends that it lies between, SI; none of words."""

    text: str
    low: float | None = None
    high: float | None = None

    @property
    def value(self) -> float | None:
        """The middle, SI; None of words."""
        return None if self.low is None or self.high is None else (self.low + self.high) / 2


def title_of(kind: str) -> str:
    """The kind of an entry or a step in words."""
    return QUANTITIES[kind].title if kind in QUANTITIES else "text"


def read_entry(procedure: Procedure, name: str, text: str) -> Entered:
    """An entry of a procedure from what was typed.

    Raises: WrongValue, when the procedure asks for none of that name, or it cannot be read; with that entry's examples.
    """
    if name in OF_EVERY_APPLIANCE:
        return Entered(text=words_of(text, LONGEST_ENTRY))
    if name == COMPLAINT and procedure.diagnosis is not None:
        return Entered(text=_complaint(procedure.diagnosis.complaints, text))
    if name not in procedure.entries:
        raise WrongValue(f"{procedure.key} asks for no {name!r}\n  {near_miss(name, procedure.entries)}".rstrip())
    try:
        return _read(_role(procedure, name), procedure.entries[name], text)
    except WrongValue as error:
        raise WrongValue(f"{name}: {error}") from None


def _complaint(complaints: Mapping[str, str], text: str) -> str:
    """A complaint of a procedure by its name or its sentence. Raises: WrongValue."""
    named = {words.casefold(): name for name, sentence in complaints.items() for words in (name, sentence)}
    if tidy(text).casefold() not in named:
        raise WrongValue(f"{COMPLAINT}: {near_miss(text, complaints)}")
    return named[tidy(text).casefold()]


def read_entries(procedure: Procedure, texts: Mapping[str, str]) -> dict[str, str]:
    """Entries in the spelling in which they are kept, by name. Raises: WrongValue, as `read_entry`."""
    return {name: read_entry(procedure, name, text).text for name, text in texts.items()}


def entry_values(procedure: Procedure, texts: Mapping[str, str]) -> dict[str, tuple[float, float]]:
    """The ends, SI, of the entries that are quantities; one that cannot be read counts as not entered."""
    values: dict[str, tuple[float, float]] = {}
    for name in procedure.entries.keys() & texts.keys():
        with suppress(WrongValue):
            read = read_entry(procedure, name, texts[name])
            if read.low is not None and read.high is not None:
                values[name] = read.low, read.high
    return values


def examples_of(procedure: Procedure, name: str) -> str:
    """How an entry of a procedure is written: '"230 V" or "220-240 V"'; "in words" of one that is no quantity."""
    role, kind = _role(procedure, name), procedure.entries[name]
    if role in _CHOICES:
        return _or([f'"{word}"' for word in _CHOICES[role]])
    if role:
        return _READERS[role][1]
    return _USUAL[kind].examples if kind in _USUAL else "in words"


# ---- what an entry is used for ----


_READERS: dict[str, tuple[Callable[[str], Any], str]] = {
    "mass": (read_mass, _USUAL["mass"].examples),
    "vessel": (read_vessel, '"340 g glass", "steel, 300 g", "340 g glass + 120 g steel" or "250 J/K"'),
    "ambient": (read_room, '"21 degC" or "21 °C ± 0.5 K"'),
    "capacitance": (decode_capacitor, 'what is printed on it, such as "474K 275V~ X2" or "0.95 uF ± 3 %"'),
    "resistance": (decode_resistor, 'what is printed on it, such as "4K7J" or "4.7 kohm"'),
}
"""By what an entry is used for: who reads it there, and how it is written."""


_CHOICES = {
    f"{method.name}/{name}": wanted.words
    for method in METHODS.values()
    for name, wanted in method.inputs.items()
    if wanted.words
}
"""Words that a method chooses between, by method and input: one of them, and nothing else."""


def _chosen(role: str, text: str) -> str:
    words = {word.casefold(): word for word in _CHOICES[role]}
    word = words.get(tidy(text).casefold().removeprefix("class "))
    if word is None:
        raise WrongValue(f"write {_or(_CHOICES[role])}, not {text!r}")
    return word


def _or(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _role(procedure: Procedure, name: str) -> str:
    """What a procedure's steps use an entry for: a key of `_READERS`, "" for its quantity alone."""
    return next((role for step in procedure.steps for role in _roles(step, name)), "")


def _roles(step: Step, name: str) -> list[str]:
    used = [place.removeprefix("second ") for place, entry in step.inputs.items() if entry == name]
    if "marking" in used:
        return [step.quantity] if step.quantity in _READERS else []
    choices = [choice for place in used if (choice := f"{step.method}/{place}") in _CHOICES]
    if choices:
        return choices
    is_run = step.kind.is_run
    return [place for place in used if is_run and place in _READERS]


# ---- reading one ----


def _read(role: str, kind: str, text: str) -> Entered:
    if len(text) > LONGEST_ENTRY:
        raise WrongValue(f"{len(text)} characters are too many: write at most {LONGEST_ENTRY}")
    if role in _CHOICES:
        return Entered(text=_chosen(role, text))
    if not role:
        return Entered(text=words_of(text, LONGEST_ENTRY)) if kind == WORDS else read_quantity(kind, text)
    reader, examples = _READERS[role]
    words = tidy(text)
    try:
        read = reader(words)
    except WrongValue as error:
        raise WrongValue(f"{_first(error)}\n  write {examples}") from None
    return Entered(text=words) if kind == WORDS else Entered(text=words, low=read.value, high=read.value)


def read_quantity(kind: str, text: str) -> Entered:
    """A quantity with what may stand behind it, or a range of it. Raises: WrongValue with examples."""
    usual, si = _USUAL.get(kind, _Usual('"0.42 ohm"')), QUANTITIES[kind].si
    try:
        words, ends = _ends(text, si, usual.bare)
    except WrongValue as error:
        raise WrongValue(f"{_first(error)}\n  write {usual.examples}") from None
    for end in ends:
        if end <= 0 and kind != "temperature" and usual.high < float("inf"):
            raise WrongValue(f"write more than nothing, not {text!r}")
        if end < usual.low:
            _refuse_slip(end, words, usual, si)
        refuse_slip(kind, end, words)
    return Entered(text=words, low=ends[0], high=ends[1])


def refuse_slip(kind: str, value: float, words: str) -> None:
    """Refuse what is more of a quantity, SI, than an appliance has: a slip of a prefix. Raises: WrongValue."""
    usual = _USUAL.get(kind)
    if usual and value > usual.high:
        _refuse_slip(value, words, usual, QUANTITIES[kind].si)


def _refuse_slip(value: float, words: str, usual: _Usual, si: str) -> NoReturn:
    raise WrongValue(f"{show(value, si)} is beyond any appliance{_meant(words, usual, si)}\n  write {usual.examples}")


def _ends(text: str, si: str, bare: str) -> tuple[str, tuple[float, float]]:
    """(spelling to keep, ends in SI) of "230 V", "230 V ± 5 V" or "220-240 V"."""
    words = _with_bare(tidy(text), bare)
    ends = split_range(words)
    if ends:
        low, high = (parse(end, si) for end in ends)
        if low > high:
            raise WrongValue(f"the lower end comes first, not {text!r}")
        return " .. ".join(ends), (low, high)
    value, width = split_doubt(words)
    middle = parse(value, si)
    return f"{value} ± {width}" if width else value, (middle, middle)


def _with_bare(words: str, unit: str) -> str:
    """With the unit that an entry names where only numbers were written: "2000" of a power is "2000 W"."""
    return (
        f"{words} {unit}"
        if unit and words and not any(letter.isalpha() or letter in "%°" for letter in words)
        else words
    )


def _meant(words: str, usual: _Usual, si: str) -> str:
    """The unit that was meant, as a question, where the number would be usual in it."""
    number = words.split(" ")[0]
    for unit in (usual.slip, usual.bare):
        with suppress(WrongValue):
            if unit and usual.low <= parse(f"{number} {unit}", si) <= usual.high:
                return f": did you mean {number} {unit}?"
    return ": is the unit right?"


def _first(error: WrongValue) -> str:
    return str(error).splitlines()[0]
