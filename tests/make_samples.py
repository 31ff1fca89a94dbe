"""Makes the recordings of the demo's invented scenario: run it when the scenario changes.

    python tests/make_samples.py

A community kitchen's 900 W oven hums and does not heat: its high-voltage diode is shorted, is
replaced, measured again, and the oven heats a litre of water. Its 3 kW urn trips the residual-current
device: the element's insulation is damp. Every number is invented; noise comes from a fixed seed.
"""

import math
import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from players.segments import showing

from meterlog.base.recording import Event, Recording, write

PERIOD_S = 0.25
TEMPERATURE_PERIOD_S = 1.0
FOLDER = Path(__file__).parents[1] / "sample_captures" / "kitchen"
NOTE = "invented: a community kitchen's appliances; nothing here was measured"


PROVED_ELSEWHERE = (
    "override a hand meter cannot decide 0.3 ohm; 0.09 ohm at 10 A on the workshop's safety tester, kept with the card"
)


class Scene:
    """One job's time line: what each instrument shows, and what the person does."""

    def __init__(self, seed):
        self.at = 0.0
        self.multimeter, self.thermometer, self.tester, self.acts = [], [], [], []
        self._random = random.Random(seed)

    # -- the person

    def act(self, word):
        self.acts.append(Event(round(self.at, 3), "act", word=word))
        self.at += 0.6

    def reads(self):
        """Reads the cautions that were not read before."""
        self.act("acknowledge")

    def looks(self):
        self.act("confirm")

    # -- the multimeter

    def _meter(self, quantity, value, seconds, noise=0.001):
        """Show a value (None: beyond the range) for some seconds; `value` may be a function of time."""
        end = self.at + seconds
        began = self.at
        while self.at < end - 1e-9:
            now = value(self.at - began) if callable(value) else value
            if now is not None and noise:
                now = now * (1 + noise * self._random.uniform(-1, 1))
            self.multimeter.append(Event(round(self.at, 3), "in", showing(quantity, now)))
            self.at += PERIOD_S

    def apart(self, seconds=1.75):
        self._meter("ohm", None, seconds)

    def ohms(self, value, seconds=5.5, noise=0.001):
        """Leads in the air, then on the points: a bounce, the value, and off again."""
        self.apart()
        self._meter("ohm", value, 0.25, noise=0.3)
        self._meter("ohm", value, seconds, noise=noise)
        self.apart(1.5)

    def said(self):
        """A pedal, with both tips on the points."""
        self.acts.append(Event(round(self.at, 3), "act", word="press"))

    def proved_open(self):
        """Leads together, the points and a press there, leads together."""
        self.apart()
        self._meter("ohm", 0.2, 1.75, noise=0)
        self.apart(1.5)
        self.said()
        self.apart(5.0)
        self._meter("ohm", 0.2, 1.75, noise=0)
        self.apart(1.5)

    def not_open(self, value):
        """Leads together, then points that conduct."""
        self.apart()
        self._meter("ohm", 0.2, 1.75, noise=0)
        self.apart(0.75)
        self._meter("ohm", value, 7.0)
        self.apart(1.5)

    def proved_dead(self, left=0.004, source=9.02, function="dc V"):
        """A known source, the points and a press there, the source again."""
        air = lambda t: 0.002 * math.sin(t)  # noqa: E731
        self._meter(function, air, 1.5)
        self._meter(function, source, 2.25)
        self._meter(function, air, 1.0)
        self._meter(function, left, 1.0, noise=0)
        self.said()
        self._meter(function, left, 4.5, noise=0)
        self._meter(function, air, 1.0)
        self._meter(function, source, 2.25)
        self._meter(function, air, 1.5)

    def volts(self, value):
        self._meter("dc V", 0.0, 1.75, noise=0)
        self._meter("dc V", value, 5.5)
        self._meter("dc V", 0.0, 1.75, noise=0)

    def farads(self, value):
        self._meter("F", 0.02e-9, 2.0, noise=0)
        self._meter("F", lambda t: value * (1 - math.exp(-t / 0.8)), 10.0, noise=0.0005)
        self._meter("F", 0.02e-9, 2.0, noise=0)

    # -- the insulation tester

    def insulation(self, edge, digits, unit, seconds=14.0):
        """A test at 500 V: the tester prints a line each half second while its button is held; a press says it."""
        line = f"500 V {edge:1}{digits:>5} {unit:4}   \r\n".encode()
        end, pressed = self.at + seconds, self.at + 4.0
        self.at += 1.0
        while self.at < end - 1e-9:
            if edge and pressed and self.at > pressed:
                pressed = self.said()
            self.tester.append(Event(round(self.at, 3), "in", line))
            self.at += 0.5
        self.at += 3.0

    # -- the thermometer

    def heating(self, mass_kg, power_w, seconds, room_c=21.4, water_c=15.2, loss_w_per_k=0.9):
        """Probe in the water before and after a run, in the air while it runs; water stirred after it."""
        heat = mass_kg * 4184.0
        k = loss_w_per_k / heat

        def drift(celsius, t):
            return room_c + (celsius - room_c) * math.exp(-k * t)

        for t in range(45):
            self._celsius(drift(water_c, t))
        began = drift(water_c, 45)
        self.act("start")
        for t in range(round(seconds)):
            self._celsius(room_c + (began - room_c) * math.exp(-t / 6.0))
        steady = room_c + power_w / loss_w_per_k
        ended = steady + (began - steady) * math.exp(-k * seconds)
        self.act("stop")
        for _ in range(12):
            self._celsius(room_c)
        for t in range(95):
            water = drift(ended, 12 + t)
            self._celsius(water + (room_c - water) * math.exp(-t / 2.5))

    def _celsius(self, celsius):
        line = f"T={celsius:+06.1f}C\r\n".encode()
        self.thermometer.append(Event(round(self.at, 3), "in", line))
        self.at += TEMPERATURE_PERIOD_S

    def save(self, folder):
        folder.mkdir(parents=True, exist_ok=True)
        kept = {
            "multimeter": ("handheld-segments", self.multimeter),
            "thermometer": ("ascii-thermometer", self.thermometer),
            "insulation-tester": ("fixed-columns", self.tester),
        }
        for name, (profile, events) in kept.items():
            if events:
                head = {"profile": profile, "instrument": name, "note": NOTE}
                (folder / f"{name}.txt").write_text(write(Recording(head=head, events=tuple(events))))
        person = Recording(head={"instrument": "person", "note": NOTE}, events=tuple(self.acts))
        (folder / "person.txt").write_text(write(person))


def oven():
    """The oven, step by step of profiles/procedures/microwave-oven.yaml."""
    s = Scene(900)
    s.reads()  # the procedure's cautions
    s.reads()
    s.looks()  # isolation
    s.reads()
    s.looks()  # damage
    s.reads()
    s.ohms(0.1, noise=0)  # lead-check
    s.reads()
    s.proved_dead(source=12.04, function="ac V")  # plug-dead-ac
    s.proved_dead()  # plug-dead: its cautions were read
    s.reads()
    s.looks()  # capacitor-discharged
    s.proved_dead()  # capacitor-dead: its cautions were read
    s.reads()
    s.proved_dead()  # capacitor-dead-a
    s.proved_dead()  # capacitor-dead-b
    s.ohms(0.3, noise=0)  # fuse
    s.ohms(0.4, noise=0)  # cut-out
    s.ohms(0.4, noise=0)  # primary-switch-shut
    s.proved_open()
    s.ohms(0.4, noise=0)  # secondary-switch-shut
    s.proved_open()
    s.ohms(0.3, noise=0)  # monitor-switch-open
    s.proved_open()
    s.reads()
    s.ohms(1.6, noise=0)  # primary
    s.proved_open()  # primary-to-core
    s.ohms(108.6)  # secondary
    s.ohms(0.3, noise=0)  # secondary-return
    s.ohms(0.2, noise=0)  # filament-winding
    s.proved_open()  # filament-winding-to-core
    s.ohms(5.2, noise=0)  # high-voltage-fuse
    s.reads()
    s.ohms(lambda t: 9.87e6 * (1 - math.exp(-(t + 0.5) / 10.0)), seconds=75.0, noise=0)  # capacitor-bleeder
    s.farads(0.934e-6)  # capacitor-value
    s.reads()
    s.proved_open()  # capacitor-a-to-can
    s.proved_open()  # capacitor-b-to-can
    s.not_open(14.6)  # diode-forward: shorted
    s.not_open(14.6)  # diode-reverse
    s.act("note high-voltage diode shorted both ways; new one fitted, same rating")
    s.act("go to diode-forward")
    s.proved_open()
    s.act("go to diode-reverse")
    s.proved_open()
    s.volts(6.31)  # diode-conducts
    s.ohms(0.3, noise=0)  # filament
    s.proved_open()  # filament-to-case
    s.reads()
    s.looks()  # refitted
    s.ohms(0.3, noise=0)  # protective-conductor
    s.reads()
    s.act(PROVED_ELSEWHERE)
    s.insulation(">", "2.20", "Gohm")
    s.reads()
    s.act(PROVED_ELSEWHERE)
    s.looks()  # stops-with-the-door
    s.reads()
    s.act("skip no survey meter on this bench; booked with a licensed test house")
    s.act("skip no plug-in power meter at hand")  # mains-voltage
    s.act("skip no plug-in power meter at hand")  # input-power
    s.reads()
    s.act(PROVED_ELSEWHERE)
    s.heating(1.0, 885.0, 62.0)
    s.save(FOLDER / "oven")


def urn():
    """The urn, as far as the fault."""
    s = Scene(3000)
    s.reads()
    s.reads()
    s.looks()  # isolation
    s.reads()
    s.looks()  # visual
    s.reads()
    s.ohms(0.1, noise=0)  # lead-check
    s.reads()
    s.proved_dead(source=12.04, function="ac V")  # plug-dead-ac
    s.proved_dead()  # plug-dead
    s.ohms(0.4, noise=0)  # cut-out
    s.ohms(0.3, noise=0)  # thermostat
    s.ohms(17.9)  # element
    s.reads()
    s.insulation("", "0.04", "Mohm")
    s.act("note the element leaks to its sheath; drying did not help; a new element is ordered")
    s.save(FOLDER / "urn")


if __name__ == "__main__":
    oven()
    urn()
