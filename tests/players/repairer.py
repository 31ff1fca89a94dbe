"""Plays a repairer and the bench through a whole procedure: what each step shows is given, what is asked is done.

Nothing is assumed by the walk: cautions are acknowledged, looks are said, the tips are said to be on the points. A
gate is never overridden: the step is skipped with what it waits for as the reason.
"""

import math

from meterlog.base.readings import Bound, Form, Reading
from meterlog.base.units import QUANTITIES
from meterlog.judging import Accuracy
from meterlog.procedure import kinds
from meterlog.procedure.case import StepAnswer
from meterlog.walk import Act
from meterlog.walk.phases import Phase
from meterlog.walk.session import ByCase, Judged, Session

METER = Accuracy(part_of_reading=0.005, source="invented: 0.5 %")
OPEN = math.inf
LEADS_OHM = 0.12
SHORT_OHM = 0.2
GAP_S = 0.25
ZERO_C = 273.15
ROOM_C = 21.4
WATER_J_PER_KG_K = 4184.0
"""Specific heat of water at 20 °C, J/(kg K). Source: IAPWS-95, from memory."""


LOSS_W_PER_K = 0.9
"""What the load exchanges with the room, W/K: it drifts before and after the run. Invented."""


class Heating:
    """A load that takes power for a time while it exchanges heat with the room."""

    def __init__(self, watts, kilograms, seconds, water_c=15.2, *, probe_stays=False):
        self.watts, self.seconds, self._water_c, self.probe_stays = watts, seconds, water_c, probe_stays
        self._rate = LOSS_W_PER_K / (kilograms * WATER_J_PER_KG_K)

    def before(self, t):
        return self._towards(ROOM_C, self._water_c, t)

    def during(self, waited_s, t):
        return self._towards(ROOM_C + self.watts / LOSS_W_PER_K, self.before(waited_s), t)

    def after(self, waited_s, t):
        return self._towards(ROOM_C, self.during(waited_s, self.seconds), t)

    def _towards(self, end, start, t):
        return end + (start - end) * math.exp(-self._rate * t)


class Repairer:
    """One job. `shows` gives by step key the SI value at the points, OPEN, a `Heating`, or words: what is not well."""

    def __init__(self, procedure, shows, entries, where="", skips=()):
        self.procedure, self.shows, self.skips = procedure, shows, skips
        answer_of = lambda source, capture, log, beside: StepAnswer(  # noqa: E731
            capture=capture, instrument=source, accuracy=METER, log=log, beside=beside
        )
        judge = ByCase(procedure, answer_of, where=where, entries=entries)
        self.session = Session(procedure, {}, judge=judge)
        self.at, self.counts = 0.0, {}
        self.verdicts, self.opened, self.shut, self.acknowledged = {}, [], {}, 0
        self._tried = {}
        self._take(self.session.start(0.0))

    @property
    def walk(self):
        return self.session.walk

    def play(self):
        """To the end, or until nothing moves any more; answers itself."""
        for _ in range(40 * len(self.procedure.steps)):
            if self.walk.phase is Phase.DONE:
                return self
            self._move(self.walk.step, self.walk.phase)
        raise AssertionError(f"the walk stands at {self.walk.step and self.walk.step.key}, {self.walk.phase}")

    def _move(self, step, phase):
        if phase is Phase.LIVE:
            self._act("acknowledge")
        elif phase is Phase.CAUTIONS:
            self.acknowledged += 1
            self._act("acknowledge")
        elif phase is Phase.GATE:
            self.shut[step.key] = self.walk.ledger.missing(step)
            self._act("skip", f"waits for {', '.join(self.shut[step.key])}")
        elif step is not None and step.key in self.skips:
            self._act("skip", "there is none")
        elif phase is Phase.LOOK:
            self._look(step)
        elif phase in (Phase.STIR, Phase.START):
            self._heat(step, self.shows[step.key])
        elif phase is Phase.LIFT:
            self._lift()
        elif self._tried.get(step.key, 0) == 2:
            self._act("skip", "it could not be taken")
        else:
            self._tried[step.key] = self._tried.get(step.key, 0) + 1
            self._measure(step)

    # what the person does

    def _say_contact(self):
        """A foot presses while the meter goes on showing what the tips are on."""
        self._act("confirm", takes_s=0.0)

    def _act(self, word, text="", takes_s=0.5):
        here = self.walk.step.key if self.walk.step else ""
        act = Act(word=word, text=text, who="page", step=here, phase=self.walk.phase)
        self._take(self.session.act(act, self.at))
        self.at += takes_s

    def _look(self, step):
        self._open(step)
        wrong = self.shows.get(step.key)
        self._act("wanting", wrong) if wrong else self._act("confirm")

    def _lift(self):
        self._apart(2.0)
        if self.walk.phase is Phase.LIFT:
            self._act("next")

    def _measure(self, step):
        self._open(step)
        if step.kind is kinds.LEADS:
            self._ohms(LEADS_OHM)
        elif step.kind is kinds.DEAD:
            self._prove_dead(step, self.shows.get(step.key, 0.0))
        elif step.kind is kinds.OPEN:
            self._prove_open(step, self.shows[step.key])
        elif step.quantity == "resistance":
            self._ohms(self.shows[step.key], step.settling.length_s or 0.0)
        else:
            self._steady(step, self.shows[step.key])

    def _open(self, step):
        if step.key not in self.opened:
            self.opened.append(step.key)

    def _ohms(self, value, longer=0.0):
        self._apart(1.75)
        self._show("meter", "resistance", value, 6.0 + 2 * longer)
        if value == OPEN and self.walk.phase is Phase.WATCH:
            self._act("confirm")
            self._show("meter", "resistance", value, 6.0)
        self._apart(1.5)

    def _prove_open(self, step, value):
        self._apart(1.75)
        self._show("meter", "resistance", SHORT_OHM, 1.75)
        self._apart(1.0)
        if value == OPEN:
            self._say_contact()
            self._apart(step.hold_s + 2.0)
            self._show("meter", "resistance", SHORT_OHM, 1.75)
        else:
            self._show("meter", "resistance", value, 1.5)
            self._say_contact()
            self._show("meter", "resistance", value, 9.0)
        self._apart(1.5)

    def _prove_dead(self, step, left):
        for volts, seconds in ((0.0, 1.5), (step.source_voltage, 2.5), (0.0, 1.0), (left, 1.0)):
            self._volts(step, volts, seconds)
        self._say_contact()
        for volts, seconds in ((left, step.hold_s + 2.0), (0.0, 1.0), (step.source_voltage, 2.5), (0.0, 1.5)):
            self._volts(step, volts, seconds)

    def _volts(self, step, volts, seconds):
        self._show("meter", "voltage", volts, seconds, mode=step.mode)

    def _steady(self, step, value):
        source = step.instrument or SOURCES.get(step.quantity, "power-meter" if step.energised else "meter")
        if step.points:
            at_rest = None if step.quantity == "insulation_resistance" else 0.0
            self._show(source, step.quantity, at_rest, 2.0, mode=step.mode)
        self._show(source, step.quantity, value, 12.0, mode=step.mode)
        if self.walk.step is step and self.walk.phase is Phase.WATCH:
            self._act("confirm")

    def _heat(self, step, load):
        self._open(step)
        self._act("immersed", takes_s=0.0)
        for t in range(45):
            self._celsius(load.before(t))
        self._act("start")
        began = self.at - 0.5
        while self.at < began + load.seconds - 1.0:
            self._celsius(load.during(45, self.at + 1.0 - began) if load.probe_stays else ROOM_C)
        self.at = began + load.seconds
        self._act("stop")
        for t in range(12):
            self._celsius(load.after(45, t) if load.probe_stays else ROOM_C)
        self._act("immersed", takes_s=0.0)
        for t in range(95):
            self._celsius(load.after(45, 12 + t))

    def _celsius(self, celsius):
        self._show("thermometer", "temperature", celsius + ZERO_C, 1.0, gap=1.0)

    # what the instruments show

    def _apart(self, seconds):
        self._show("meter", "resistance", OPEN, seconds)

    def _show(self, source, quantity, value, seconds, mode="", gap=GAP_S):
        form, counts = shown(quantity, value, mode)
        for _ in range(max(round(seconds / gap), 1)):
            self.at = round(self.at + gap, 6)
            ordinal = self.counts.get(source, 0)
            self.counts[source] = ordinal + 1
            self._take(self.session.reading(source, ordinal, Reading(form, counts), self.at))

    def _take(self, events):
        for event in events:
            if isinstance(event, Judged):
                self.verdicts[event.step] = event.verdict


SOURCES = {
    "insulation_resistance": "insulation-tester", "power": "power-meter", "temperature": "thermometer",
    "leakage_current": "safety-tester",
}  # fmt: skip


def shown(quantity, value, mode=""):
    """(form, counts) of a meter of four digits and a half; OPEN is overload beyond 60 Mohm, None no value."""
    unit = QUANTITIES[quantity].si
    if value == OPEN:
        return Form(quantity=quantity, mode=mode, unit=unit, scale=1.0, bound=Bound.OVERLOAD, range_top=60e6), None
    if value is None:
        return Form(quantity=quantity, mode=mode, unit=unit, scale=1.0), None
    offset = ZERO_C if quantity == "temperature" else 0.0
    size = math.floor(math.log10(abs(value - offset))) if abs(value - offset) > 1e-12 else 0
    decimals = min(4 - size, 12)
    form = Form(quantity=quantity, mode=mode, unit=unit, scale=1.0, offset=offset, decimals=decimals)
    return form, round((value - offset) * 10.0**decimals)
