"""What is said aloud, from a catalogue that can be translated: sentences, units and numbers as people say them.

A catalogue is one JSON file a language, such as `en.json`. What it lacks, another language's file
shows: the test of catalogues compares their keys and their places in braces.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Bound, Reading
from meterlog.walk import happenings as told
from meterlog.walk.session import Judged

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure
    from meterlog.walk.session import SessionEvent

FOLDER = Path(__file__).parent


class Catalogue:
    """The sentences of one language."""

    def __init__(self, text: str) -> None:
        said: dict[str, Any] = json.loads(text)
        self.language: str = said["language"]
        self._words = said

    def sentence(self, name: str, **parts: str) -> str:
        """A sentence with its parts put in. Raises: KeyError, when there is none of that name."""
        text: str = self._words["sentences"][name]
        return text.format(**parts)

    def asked(self, awaited: str) -> str:
        """What a phase, or a stage of a heating run, waits for and what a press means, "" where enough was said."""
        said: str = self._words["asked"][awaited]
        return said

    def quantity(self, name: str) -> str:
        """A quantity as a person calls it."""
        spoken: str = self._words["quantities"].get(name, name.replace("_", " "))
        return spoken

    def number(self, digits: str) -> str:
        """Digits as they are said: "0.42" is "zero point four two", "-15" is "minus 15", "15E+2" is "1500"."""
        minus, digits = digits.startswith("-"), digits.lstrip("-")
        mantissa, _, exponent = digits.partition("E+")
        whole, point, part = (mantissa + "0" * int(exponent or 0)).partition(".")
        names: list[str] = self._words["digits"]
        whole = whole.lstrip("0") or "0"
        said = [self._words["minus"]] if minus else []
        said.append(names[int(whole)] if len(whole) == 1 else whole)
        if point:
            said += [self._words["point"], *(names[int(digit)] for digit in part)]
        return " ".join(said)

    def value(self, digits: str, unit: str) -> str:
        """A number with its unit: "zero point four two ohms"."""
        one, many = self._words["units"].get(unit, (unit, unit))
        only_one = digits.strip("-").lstrip("0") in ("1",) and "." not in digits
        return f"{self.number(digits)} {one if only_one else many}".strip()

    def reading(self, reading: Reading) -> str:
        """A reading as it is said: a bound as the bound it is."""
        bound = reading.form.bound
        if bound in (Bound.ABOVE, Bound.BELOW) and reading.digits:
            said: str = self._words[bound.value].format(value=self.value(reading.digits, reading.form.unit))
            return said
        if bound is not None:
            word: str = self._words["overload" if bound is Bound.ABOVE else bound.value]
            return word
        return self.value(reading.digits, reading.form.unit)

    def say(self, event: SessionEvent, procedure: Procedure) -> str:
        """What is said of an event; "" when it is better silent."""
        match event:
            case told.StepBegan(step=key):
                return self._step(key, procedure)
            case told.Captured(capture=capture):
                return self.sentence("captured", value=self.reading(capture.reading))
            case Judged(verdict=verdict):
                return self.sentence(verdict.outcome)
            case told.WrongFunction():
                return self._wrong_function(event)
            case told.NotTaken(why=why):
                return self.sentence("not taken because", why=why) if why else self.sentence("not taken")
            case told.Advised(why=why):
                return self.sentence("advised", why=why)
            case told.ContactSaid():
                return self.sentence("contact said")
            case told.LivePoint(shown=shown):
                return self.sentence("live point", value=self._shown(shown))
            case told.Proof(wants=wants):
                return self.sentence(f"proof {wants}")
            case told.Waiting(needs=needs):
                return self.sentence("waiting", needs=self._needs(needs, procedure))
            case told.Overrode(needs=needs, reason=reason):
                return self.sentence("gate passed", needs=self._needs(needs, procedure), reason=reason)
            case told.Passed(how=how, reason=reason):
                return self.sentence("skipped", reason=reason) if reason else self._left(how)
            case told.Refused(why=why):
                return self.sentence("refused", why=why)
        return self._plain(event)

    def _shown(self, shown: str) -> str:
        """Digits and unit as they are said; other words as they stand."""
        digits, _, unit = shown.partition(" ")
        return self.value(digits, unit) if digits[-1:].isdigit() else shown

    def _wrong_function(self, told_of: told.WrongFunction) -> str:
        shows, wants = self.quantity(told_of.shows), self.quantity(told_of.wants)
        if told_of.shows == told_of.wants:
            modes: dict[str, str] = self._words["modes"]
            shows, wants = modes[told_of.shows_mode].format(shows), modes[told_of.wants_mode].format(wants)
        return self.sentence("wrong function", source=told_of.source, shows=shows, wants=wants)

    def _plain(self, event: SessionEvent) -> str:
        names = {told.Frozen: "frozen", told.Started: "started", told.JobDone: "done"}
        name = next((name for kind, name in names.items() if isinstance(event, kind)), "")
        return self.sentence(name) if name else ""

    def _left(self, how: str) -> str:
        return self.sentence("passed over") if how == "passed over" else ""

    def _step(self, key: str, procedure: Procedure) -> str:
        step = procedure.step(key)
        if len(step.points) != 2:
            return self.sentence("step", title=step.title)
        return self.sentence("step with points", title=step.title, first=step.points[0], second=step.points[1])

    def _needs(self, needs: tuple[str, ...], procedure: Procedure) -> str:
        titles = [procedure.step(key).title if key else self.sentence("dead") for key in needs]
        return ", ".join(titles)


@cache
def catalogue(language: str = "en") -> Catalogue:
    """The sentences of a language; English where there are none."""
    path = FOLDER / f"{language}.json"
    return Catalogue((path if path.is_file() else FOLDER / "en.json").read_text(encoding="utf-8"))


def languages() -> list[str]:
    """The languages that have a catalogue."""
    return sorted(path.stem for path in FOLDER.glob("*.json"))
