"""What a code, a lamp or a range says about a reading: facts in words, and facts put together.

    dc voltage                     mode and quantity
    6.000 V                        a range as its end looks: unit, decimals and range at once
    kohm                           a unit; its quantity follows where nobody names another
    prefix k                       the prefix lamp of a display with separate unit lamps
    step 0.1 degC                  what one count is worth
    decimals 2                     figures after the point, where a code tells only that
    times 10                       what the number is multiplied by
    up to 40 Mohm                  where the highest range ends: beyond it the display shows overload
    flag hold                      a flag, in the user's own words
    negative                       the sign, where it is told apart from the digits
    overload, open sensor, above, below    the reading is an edge, not a number
    nothing                        no reading here (an unused input)
    normal                         a code that is known and adds nothing
    reject sensor fault            the instrument says that it cannot measure

Items are parted by `;`. Facts of several sources are merged; two that contradict reject the frame.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from functools import lru_cache

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.readings import Bound, Form
from meterlog.base.unit_names import plain

MODES = ("ac+dc", "ac", "dc")
WITHOUT_MODE = frozenset({
    "temperature", "temperature_difference", "relative_humidity", "mass", "length", "cross_section", "pressure",
    "speed_of_rotation", "illuminance", "speed", "volume_flow", "force", "power_density",
    "angle", "conductivity",
})  # fmt: skip
"""Quantities that are neither ac nor dc: a frame that says so of one contradicts itself."""
_SAMPLE = re.compile(r"(\d+(?:\.(\d*))?)\s+(\S.*)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Each None (or empty) where nothing is said.

    `factor` times counts is what is shown; `shift` more digits stand after the point. `decimals` are those of a number
    that brings none itself.
    """

    quantity: str | None = None
    unit: str | None = None
    prefix: str | None = None
    mode: str | None = None
    decimals: int | None = None
    factor: int | None = None
    shift: int | None = None
    range: str | None = None
    range_top: float | None = None
    channel: str | None = None
    bound: Bound | None = None
    negative: bool | None = None
    nothing: bool | None = None
    reject: str | None = None
    flags: frozenset[str] = frozenset()


NO_FACTS = Facts()


def parse_facts(text: str) -> Facts:
    """Facts from words. Raises: ValueError saying which word is not understood."""
    facts = NO_FACTS
    for item in re.split("[;,]", text):
        said = _item(item.strip())
        merged = merge([("one part", facts), ("another", said)])
        if isinstance(merged, str):
            raise ValueError(merged)
        facts = merged
    return facts


def _item(words: str) -> Facts:
    if words == "normal":
        return NO_FACTS
    if words == "nothing":
        return Facts(nothing=True)
    if words == "negative":
        return Facts(negative=True)
    if words in tuple(Bound):
        return Facts(bound=Bound(words))
    head, _, rest = words.partition(" ")
    rest = rest.strip()
    if head == "reject":
        return Facts(reject=rest or "the instrument says that it cannot measure")
    if rest and head == "flag":
        return Facts(flags=frozenset({rest}))
    if rest and head == "channel":
        return Facts(channel=rest)
    if head == "prefix" and rest in _PREFIXES:
        return Facts(prefix=_PREFIXES[rest])
    if rest and head == "step":
        return step(rest)
    if head == "up" and rest.startswith("to "):
        return _up_to(rest.removeprefix("to ").strip())
    if head == "decimals" and re.fullmatch(r"-?\d", rest):
        return Facts(decimals=int(rest))
    if head == "times" and rest:
        return _times(rest)
    return _measure(words)


def _up_to(text: str) -> Facts:
    """The end of the highest range, for a meter that ranges by itself and does not tell on which it stands."""
    try:
        return Facts(range_top=units.parse(text, units.split_measure(text)[1]))
    except WrongValue as error:
        raise ValueError(str(error)) from None


def _times(text: str) -> Facts:
    """A multiplier: "10" multiplies the counts, "0.01" moves the point, wherever the number's own is."""
    if not re.fullmatch(r"\d{1,6}(\.\d{1,6})?", text) or float(text) == 0:
        raise ValueError("write a factor from 0.000001 to 999999, such as `times 10` or `times 0.1`")
    counts, decimals = units.counts_of(text)
    return Facts(factor=counts, shift=decimals or None)


_PREFIXES = {"p": "p", "n": "n", "u": "u", "µ": "u", "μ": "u", "m": "m", "k": "k", "K": "k", "M": "M", "G": "G"}


def _measure(words: str) -> Facts:
    """`[mode] [quantity] [in] [unit | sample]`."""
    mode, rest = None, words
    for word in MODES:
        if re.match(rf"{re.escape(word)}(?: |$)", rest, re.IGNORECASE):
            mode, rest = word, rest[len(word) :].strip()
            break
    quantity, rest = _quantity(rest)
    rest = re.sub(r"^in ", "", rest)
    facts = Facts(mode=mode, quantity=quantity)
    if not rest:
        if facts == NO_FACTS:
            raise ValueError("say what it means: a quantity, a unit, `flag hold`, `overload`, `nothing`, …")
        return facts
    sample = _SAMPLE.fullmatch(rest)
    unit = known_unit(sample[3] if sample else rest, words)
    if quantity is not None and not fits(unit, quantity):
        raise ValueError(f"{quantity.replace('_', ' ')} is not measured in {unit}")
    if not sample:
        return replace(facts, unit=unit)
    top = units.parse(f"{sample[1].rstrip('.')} {unit}", unit)
    decimals = len(sample[2] or "")
    return replace(facts, unit=unit, decimals=decimals, range=f"{sample[1]} {unit}", range_top=top)


def mode_wrong(facts: Facts) -> str:
    """What is wrong where facts say ac or dc of what is neither; "" where nothing is."""
    quantity = facts.quantity or (implied(facts.unit) if facts.unit else None)
    return contradicted(facts.mode, quantity) if facts.mode and quantity in WITHOUT_MODE else ""


def contradicted(mode: str, quantity: str) -> str:
    """What is wrong where a quantity that is neither is said to be ac or dc."""
    return f"{mode} is never said of {quantity.replace('_', ' ')}"


def _quantity(words: str) -> tuple[str | None, str]:
    """The longest quantity name that the words begin with, and the rest."""
    parts = words.replace("_", " ").split(" ")
    for count in range(min(4, len(parts)), 0, -1):
        name = "_".join(parts[:count])
        if name in units.QUANTITIES:
            return name, " ".join(words.split(" ")[count:] if "_" not in words else parts[count:])
    return None, words


def step(text: str) -> Facts:
    """What one count is worth, "0.1 mV" or "2 g": its factor, decimals and unit."""
    try:
        digits, unit = units.split_measure(text)
        counts, decimals = units.counts_of(digits)
    except WrongValue as error:
        raise ValueError(str(error)) from None
    if counts == 0:
        raise ValueError("one count is worth something")
    return Facts(factor=counts, decimals=decimals, unit=known_unit(unit, text))


def known_unit(unit: str, context: str) -> str:
    """A unit in ASCII. Raises: ValueError when it is unknown."""
    name = plain(unit)
    try:
        units.si_factor(name)
    except WrongValue:
        raise ValueError(f"neither a unit nor any other word that is known here: {context!r}") from None
    return name


_BY_UNIT = ("resistance", "voltage", "current", "power", "capacitance", "temperature", "frequency", "mass", "time",
            "inductance", "energy", "pressure")  # fmt: skip
_OWN = {"VA": "apparent_power", "kVA": "apparent_power", "var": "reactive_power", "kvar": "reactive_power",
        "rpm": "speed_of_rotation", "delta_degC": "temperature_difference"}  # fmt: skip


@lru_cache(maxsize=512)
def implied(unit: str) -> str | None:
    """The quantity that a unit alone means; None where several are likely (%, dB)."""
    if unit in _OWN:
        return _OWN[unit]
    return next((name for name in _BY_UNIT if units.same_kind(unit, units.QUANTITIES[name].si)), None)


@lru_cache(maxsize=512)
def fits(unit: str, quantity: str) -> bool:
    return units.same_kind(unit, units.QUANTITIES[quantity].si)


def merge(said: list[tuple[str, Facts]]) -> Facts | str:
    """The facts of all sources together, or which two of them contradict."""
    values: dict[str, object] = {}
    sayer: dict[str, str] = {}
    flags: frozenset[str] = frozenset()
    for who, facts in said:
        flags |= facts.flags
        for name in _SINGLE:
            value = getattr(facts, name)
            if value is None:
                continue
            if name in values and values[name] != value:
                return f"{sayer[name]} says {name} {values[name]}, {who} says {value}"
            values[name] = value
            sayer[name] = who
    return Facts(**values, flags=flags)  # type: ignore[arg-type]


_SINGLE = tuple(field.name for field in fields(Facts) if field.name != "flags")


def facts_in_words(facts: Facts) -> str:
    """Facts as a profile would write them, near enough to recognise the row."""
    words = [facts.mode, facts.quantity and facts.quantity.replace("_", " ")]
    words += [facts.range or facts.unit, f"prefix {facts.prefix}" if facts.prefix else None]
    words += ["negative" if facts.negative else None, str(facts.bound) if facts.bound else None]
    words += ["nothing" if facts.nothing else None, f"reject {facts.reject}" if facts.reject else None]
    words += [f"channel {facts.channel}" if facts.channel else None]
    words += [f"flag {flag}" for flag in sorted(facts.flags)]
    return " ".join(word for word in words if word) or ("normal" if facts == NO_FACTS else str(facts.decimals))


@dataclass(frozen=True, slots=True)
class FittedForm:
    """A form with what the counts must be multiplied by to fit it (its sign included)."""

    form: Form
    factor: int


def form_of(facts: Facts, decimals: int, width: int) -> FittedForm | str:
    """The form of a reading with these facts, or why there is none.

    `decimals` and `width` are those that the digits show themselves; the facts' own decimals
    (a range, a step) have been put in by the caller.
    """
    unit = facts.unit
    if unit is None:
        return "nothing says the unit" + (f": only prefix {facts.prefix}" if facts.prefix else "")
    unit = (facts.prefix or "") + unit
    quantity = facts.quantity or implied(unit)
    if quantity is None:
        return f"nothing says which quantity is shown in {unit}"
    if not fits(unit, quantity):
        return f"{quantity.replace('_', ' ')} is not shown in {unit}"
    if facts.mode is not None and quantity in WITHOUT_MODE:
        return contradicted(facts.mode, quantity)
    scale, offset = units.si_factor(unit)
    factor = -(facts.factor or 1) if facts.negative else facts.factor or 1
    form = Form(
        quantity=quantity, unit=unit, scale=scale, offset=offset, decimals=decimals, width=width,
        channel=facts.channel or "main", mode=facts.mode or "", bound=facts.bound, flags=tuple(sorted(facts.flags)),
        range=facts.range or "", range_top=facts.range_top,
    )  # fmt: skip
    return FittedForm(form, factor)
