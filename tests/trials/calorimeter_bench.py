"""A calorimeter bench with a truth of its own: heated loads, the probe's fate, and what a person states of the run.

Written from a handbook's account of water calorimetry and from heat balances alone, before the program was read; it
shares no code with the program or with the other generators. Two layers of water, the wetted vessel, its dry rim, and a
heater that stores heat are nodes of a network in kelvin, joule and second, stepped by Euler's rule; the air about the
probe is a noise with a memory. Sources stand beside the numbers; those without are of the size that workshops meet.
"""

import math
import random
from dataclasses import dataclass, field
from itertools import pairwise

STEP_S = 0.2
WATER_SPECIFIC_HEAT = 4184.0  # J/(kg K) at 20 C, IAPWS-95; its change to 90 C (0.5 %) is in `water_specific_heat`
EVAPORATION_HEAT = 2.40e6  # J/kg near 50 C, IAPWS-95
KINDS = ("oven", "oven log", "oven two litres", "kettle", "kettle to the boil", "urn", "hob")
FATES = (
    "in",
    "never back",
    "half way",
    "pulled out again",
    "moved",
    "air before",
    "near the room",
    "cuts out",
    "not stirred",
)
MATERIALS = {  # specific heat J/(kg K) and the part that warms, each as an interval; public tables and practice
    "glass": (750.0, 850.0, 0.6, 1.0),
    "plastic": (1700.0, 1950.0, 0.2, 0.8),
    "steel": (480.0, 520.0, 0.9, 1.0),
}


def water_specific_heat(celsius: float) -> float:
    """J/(kg K), through the table of IAPWS-95 at 10, 20, 36, 60 and 90 C, straight between."""
    table = ((0, 4217.0), (10, 4195.2), (20, 4184.1), (36, 4179.2), (60, 4185.0), (90, 4205.2), (101, 4216.0))
    for (t0, c0), (t1, c1) in pairwise(table):
        if celsius <= t1:
            return c0 + (c1 - c0) * (celsius - t0) / (t1 - t0)
    return table[-1][1]


def saturation_kpa(celsius: float) -> float:
    """Vapour pressure of water, kPa (Magnus form; 20 C 2.34, 60 C 19.9, 95 C 84.5)."""
    return 0.61094 * math.exp(17.625 * celsius / (celsius + 243.04))


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What is known of one run, and its truth: masses kg, times s, temperatures C, powers W."""

    kind: str
    fate: str
    full_output: float
    trace: list[tuple[float, float]]
    mains: list[tuple[float, float]] | None
    times: tuple[float, float] | None
    water: float
    weighed_after: float | None
    vessel: tuple[str, float] | None
    real_vessel: tuple[str, float]
    room: float
    on_s: float
    off_s: float
    stays_on: bool
    resolution: float
    notes: dict[str, float] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The log as CSV."""
        drawn, places = dict(self.mains or ()), 1 if self.resolution >= 0.1 else 2
        rows = [f"{t:.2f},{v:.{places}f}" + (f",{drawn[t]:.1f}" if drawn else "") for t, v in self.trace]
        return "\n".join(["t_s,temperature_C" + (",power_W" if drawn else ""), *rows])

    @property
    def stated(self) -> dict[str, str]:
        """What the person states of the run, in words."""
        words = {"mass": f"{self.water * 1000:.0f} g ± 2 g", "ambient": f"{self.room} °C ± 0.5 K"}
        if self.vessel:
            words["vessel"] = f"{self.vessel[1]:.0f} g {self.vessel[0]}"
        if self.weighed_after:
            words["after"] = f"{self.weighed_after * 1000:.0f} g ± 1 g"
        if self.times:
            words |= {"start": f"{self.times[0]} s ± 0.3 s", "stop": f"{self.times[1]} s ± 0.3 s"}
        return words

    @property
    def is_near(self) -> bool:
        """Whether the load starts or ends within 3 K of the room, where a probe that leaves it hardly steps."""
        return min(abs(self.notes["start_over_room"]), abs(self.notes["end_over_room"])) < 3

    @property
    def stirred(self) -> tuple[str, ...]:
        """What the person may say in truth of having stirred with the probe in the load."""
        not_in = {"air before": ("before",), "never back": ("after",), "not stirred": ("before", "after")}
        return tuple(side for side in ("before", "after") if side not in not_in.get(self.fate, ()))


@dataclass(slots=True, kw_only=True)
class _Network:
    """Two layers of water, wetted wall, dry rim, heater: temperatures C, capacities J/K, conductances W/K."""

    water_kg: float
    wet: float
    dry: float
    heater: float
    heater_to_load: float
    room: float
    to_room: float
    evaporating_m2: float
    boils: float
    start: float
    wall_conductance: float
    top: float = 0.0
    bottom: float = 0.0
    wall: float = 0.0
    rim: float = 0.0
    plate: float = 0.0
    lost_kg: float = 0.0

    def __post_init__(self) -> None:
        self.top = self.bottom = self.start
        self.wall = self.rim = self.room
        self.plate = self.room

    def step(self, power: float, mixing: float, coupled: bool, loss_of_heater: float) -> float:
        """One step on; power W into the heater (or the water, where nothing stores); answers W into the load."""
        half = self.water_kg / 2 * water_specific_heat((self.top + self.bottom) / 2)
        into = power
        if self.heater:
            into = self.heater_to_load * (self.plate - self.bottom) if coupled else 0.0
            self.plate += (power - into - loss_of_heater * (self.plate - self.room)) * STEP_S / self.heater
        exchange = mixing * (self.bottom - self.top)
        wall_flow = self.wall_conductance * ((self.top + self.bottom) / 2 - self.wall)
        up = max(0.0, saturation_kpa(self.top) - 1.2) * 0.089e3 * self.evaporating_m2
        self.lost_kg += up * STEP_S / EVAPORATION_HEAT
        surface = 0.3 * self.to_room * (self.top - self.room) + up
        self.bottom += (into - exchange - wall_flow / 2) * STEP_S / half
        self.top += (exchange - wall_flow / 2 - surface) * STEP_S / half
        along = 0.15 * (self.wall - self.rim)
        self.wall += (wall_flow - along - 0.7 * self.to_room * (self.wall - self.room)) * STEP_S / self.wet
        self.rim += (along - 0.1 * (self.rim - self.room)) * STEP_S / max(self.dry, 5.0)
        for layer in ("bottom", "top"):
            excess = getattr(self, layer) - self.boils
            if excess > 0:
                self.lost_kg += excess * half / 2.257e6
                setattr(self, layer, self.boils)
        return into


@dataclass(slots=True, kw_only=True)
class _Probe:
    """A first-order sensor, its offset and gain, in what it touches."""

    chance: random.Random
    lag_water: float
    lag_air: float
    value: float
    offset: float
    gain: float
    noise: float
    resolution: float
    draught: float = 0.0
    draught_sd: float = 0.3

    def air(self, room: float) -> float:
        memory = math.exp(-STEP_S / 20)
        self.draught = self.draught * memory + self.chance.gauss(0, self.draught_sd * math.sqrt(1 - memory**2))
        return room + self.draught

    def step(self, around: float, lag: float) -> None:
        self.value += (around - self.value) * (1 - math.exp(-STEP_S / lag))

    def shown(self) -> float:
        seen = 20 + (self.value - 20) * (1 + self.gain) + self.offset + self.chance.gauss(0, self.noise)
        return round(round(seen / self.resolution) * self.resolution, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """One run as it will go: when, how hard, and what the hands do."""

    put_in: float  # probe into the load
    taken_out: float | None  # out before heating (an oven), s
    on: float
    off: float
    back: float | None
    end: float
    warm_up: float
    pause: tuple[float, float] | None
    stirs: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """Sizes of one appliance and its load: W, K, C, g, W/K, m2, J/K."""

    litres: float
    power: float
    rise: float
    start: float
    material: str
    grams: float
    to_room: float
    area: float
    heater: float
    coupling: float
    heater_loss: float


def _setting(kind: str, c: random.Random) -> _Setting:
    """Sizes of one appliance and its load."""
    if kind.startswith("oven"):
        litres = 2.0 if kind == "oven two litres" else c.choice((1.0, 1.0, 0.8))
        power = c.uniform(450, 1100)
        rise = c.uniform(8, 14) if c.random() < 0.5 else c.uniform(14, 28)
        material = c.choice(("glass", "glass", "plastic"))
        grams = {"glass": c.uniform(350, 900), "plastic": c.uniform(80, 250)}[material] * (1.5 if litres == 2 else 1)
        return _Setting(
            litres=litres,
            power=power,
            rise=rise,
            start=c.uniform(8, 20),
            material=material,
            grams=grams,
            to_room=c.uniform(0.6, 2.0) * litres**0.67,
            area=c.choice((0.009, 0.028)) * c.uniform(0.5, 1.2),
            heater=0.0,
            coupling=1.0,
            heater_loss=0.0,
        )
    if kind.startswith("kettle"):
        material = c.choice(("steel", "steel", "plastic", "glass"))
        grams = {"steel": c.uniform(350, 800), "plastic": c.uniform(300, 600), "glass": c.uniform(500, 900)}[material]
        return _Setting(
            litres=c.uniform(0.6, 1.7),
            power=c.uniform(1000, 2900),
            rise=c.uniform(25, 55),
            start=c.uniform(10, 22),
            material=material,
            grams=grams,
            to_room=c.uniform(0.8, 2.2),
            area=0.012 * c.uniform(0.05, 0.3),
            heater=c.uniform(100, 300),
            coupling=c.uniform(40, 90),
            heater_loss=c.uniform(0, 0.15),
        )
    if kind == "urn":
        return _Setting(
            litres=c.uniform(5, 15),
            power=c.uniform(1400, 2600),
            rise=c.uniform(12, 45),
            start=c.uniform(10, 22),
            material="steel",
            grams=c.uniform(1500, 3500),
            to_room=c.uniform(2.5, 6.0),
            area=0.05 * c.uniform(0.05, 0.2),
            heater=c.uniform(150, 500),
            coupling=c.uniform(40, 90),
            heater_loss=c.uniform(0, 0.2),
        )
    return _Setting(
        litres=c.uniform(1.0, 2.5),
        power=c.uniform(900, 1900),
        rise=c.uniform(25, 45),
        start=c.uniform(10, 22),
        material="steel",
        grams=c.uniform(600, 1500),
        to_room=c.uniform(0.8, 2.2),
        area=0.03 * c.uniform(0.05, 0.25),
        heater=c.uniform(300, 1300),
        coupling=c.uniform(15, 40),
        heater_loss=c.uniform(0.1, 1.0),
    )


def _plan(kind: str, fate: str, c: random.Random, heat_s: float, lag: float) -> _Plan:
    put_in = c.uniform(3, 12)
    oven = kind.startswith("oven")
    before_s = c.uniform(35, 70) + 5 * lag  # a person waits until it stands
    taken_out = put_in + before_s if oven else None
    on = (taken_out + c.uniform(15, 50)) if taken_out is not None else put_in + before_s
    warm_up = c.uniform(1.0, 3.0) if oven else 0.0
    off = on + heat_s + warm_up
    pause = None
    if fate == "cuts out":
        length = c.uniform(0.12, 0.3) * heat_s
        begin = on + c.uniform(0.35, 0.6) * heat_s
        pause = (begin, begin + length)
        off += length
    back = off + c.uniform(6, 22) if oven else None
    settled_from = back if back is not None else off
    stirs: tuple[tuple[float, float], ...] = ()
    if fate != "not stirred":
        first = (put_in + 2, put_in + 14)
        stirs = (first, (off + 3, settled_from + c.uniform(6, 12)))
    return _Plan(
        put_in=put_in,
        taken_out=taken_out,
        on=on,
        off=off,
        back=back,
        end=settled_from + c.uniform(45, 100) + 5 * lag,
        warm_up=warm_up,
        pause=pause,
        stirs=stirs,
    )


def _around(
    plan: _Plan, fate: str, t: float, network: _Network, air: float, hand: dict[str, float]
) -> tuple[float, bool]:
    """Temperature the sensor feels at t, C, and whether it is wet."""
    deep = network.bottom * hand["low"] + network.top * (1 - hand["low"])
    shallow = air + (deep - air) * (1 - hand["out"])
    if t < plan.put_in or (fate == "air before" and t < plan.on):
        return air, False
    if plan.taken_out is None:
        if fate == "moved" and t > plan.off + hand["moves_after"]:
            return network.top, True
        if fate == "half way" and t > plan.off + 2:
            return shallow, True
        if (fate == "pulled out again" and t > plan.off + hand["pulled_after"]) or (
            fate == "never back" and t > plan.off + 2
        ):
            return air, False
        return deep, True
    if t < plan.taken_out:
        return deep, True
    assert plan.back is not None
    if t < plan.back or fate == "never back":
        return air + hand["oven_air"] * math.exp(-max(0.0, t - plan.off) / 60) * (t > plan.off), False
    if fate == "pulled out again" and t > plan.back + hand["pulled_after"]:
        return air, False
    if fate == "half way":
        return shallow, True
    if fate == "moved" and t > plan.back + hand["moves_after"]:
        return network.top, True
    return deep, True


def make_run(kind: str, fate: str, seed: int) -> Run:
    """One run of `kind` whose probe meets `fate`, the same for the same seed."""
    c = random.Random(f"{kind}/{fate}/{seed}")
    s = _setting(kind, c)
    room = c.uniform(17, 27)
    start, rise = s.start, s.rise
    if fate == "near the room":
        start = room - rise + c.uniform(-1, 1)
        if start < 4:
            rise, start = room - 6, 6 + c.uniform(-1, 1)
    water_kg = s.litres * c.uniform(0.97, 1.0)
    low_c, high_c, low_part, high_part = MATERIALS[s.material]
    part = c.uniform(low_part, high_part)
    vessel_heat = s.grams / 1000 * c.uniform(low_c, high_c)
    boils = c.uniform(98.2, 100.3)
    network = _Network(
        water_kg=water_kg,
        wet=max(20.0, vessel_heat * part),
        dry=vessel_heat * (1 - part),
        heater=s.heater,
        heater_to_load=s.coupling,
        room=room,
        to_room=s.to_room,
        evaporating_m2=s.area,
        boils=boils,
        start=start,
        wall_conductance=max(20.0, vessel_heat * part) / c.uniform(3, 10),
    )
    power = s.power
    heat_s = rise * (water_kg * WATER_SPECIFIC_HEAT + vessel_heat * part) / power
    if kind == "kettle to the boil":
        heat_s = (
            (boils - start) * (water_kg * WATER_SPECIFIC_HEAT + vessel_heat * part) / power * 1.03
            + 10
            + c.uniform(0, 15)
        )
    if kind == "hob":
        heat_s += 3 * network.heater / network.heater_to_load
    lag = c.choice((c.uniform(0.5, 1), c.uniform(2, 5), c.uniform(5, 12)))
    plan = _plan(kind, fate, c, heat_s, lag)
    resolution = c.choice((0.1, 0.1, 0.1, 0.01))
    probe = _Probe(
        chance=c,
        lag_water=lag,
        lag_air=lag * c.uniform(8, 15) + 8,
        value=room,
        offset=c.uniform(-0.5, 0.5),
        gain=c.uniform(-0.003, 0.003),
        noise=c.choice((0.01, 0.03, 0.05)),
        resolution=resolution,
    )
    hand = {
        "low": c.uniform(0.35, 0.65),
        "out": c.uniform(0.15, 0.6),
        "moves_after": c.uniform(10, 30),
        "pulled_after": c.uniform(12, 40),
        "oven_air": c.uniform(-0.5, 4.0),
    }
    stays_on = kind != "hob" or c.random() < 0.4
    interval = c.choice((1.0, 1.0, 0.5, 2.0)) if kind != "urn" else c.choice((1.0, 2.0, 5.0))
    gap = (0.0, 0.0)
    if c.random() < 0.2:
        middle = plan.put_in + 20 if c.random() < 0.5 else (plan.back or plan.off) + 30
        gap = (middle, middle + c.uniform(3, 8))
    trace, mains, flows = [], [], []
    next_sample = 0.0
    natural = c.uniform(1500, 5000) * (s.litres**0.67)  # W/K between layers while heat stirs
    still = c.uniform(3, 25)
    overrun = 4 * network.heater / network.heater_to_load if network.heater and stays_on else 0.0
    t = 0.0
    while t < plan.end + overrun:  # a person waits for the peak
        heating = plan.on + plan.warm_up <= t < plan.off and not (plan.pause and plan.pause[0] <= t < plan.pause[1])
        stirred = any(a <= t < b for a, b in plan.stirs)
        mixing = 6000.0 if stirred else natural if (heating and not kind.startswith("oven")) else still
        if kind.startswith("oven") and heating:  # a microwave heats both layers, the upper one more
            network.top += power * 0.1 * STEP_S / (water_kg / 2 * WATER_SPECIFIC_HEAT)
            network.bottom -= power * 0.1 * STEP_S / (water_kg / 2 * WATER_SPECIFIC_HEAT)
            network.top += power * 0.5 * STEP_S / (water_kg / 2 * WATER_SPECIFIC_HEAT)
            network.bottom -= power * 0.5 * STEP_S / (water_kg / 2 * WATER_SPECIFIC_HEAT)
        coupled = stays_on or t < plan.off
        mixing = min(mixing, 0.4 * water_kg * WATER_SPECIFIC_HEAT / 2 / STEP_S)
        into = network.step(power if heating else 0.0, mixing, coupled, s.heater_loss)
        if heating:
            flows.append((t, into))
        around, wet = _around(plan, fate, t, network, probe.air(room), hand)
        probe.step(around, probe.lag_water * (1 if stirred else 1.6) if wet else probe.lag_air)
        if t >= next_sample:
            next_sample += interval
            if not gap[0] <= t < gap[1]:
                trace.append((round(t, 2), probe.shown()))
            on_now = plan.on <= t < plan.off
            drawn = 0.0 if not on_now else power * 1.6 if heating else 60.0
            mains.append((round(t, 2), round(drawn * c.gauss(1, 0.003), 1)))
        t += STEP_S
    lag_heater = network.heater / (network.heater_to_load + s.heater_loss) if network.heater else 0.0
    full = [w for at, w in flows if at > plan.on + plan.warm_up + 4 * lag_heater]
    if kind == "kettle to the boil":
        full = full[: max(10, int(len(full) * 0.9))]
    reaction = (c.uniform(-0.3, 0.3), c.uniform(-0.3, 0.3))
    stated = None
    if kind in ("oven", "oven two litres") or (not kind.startswith("oven") and c.random() < 0.4):
        stated = (round(plan.on + reaction[0], 1), round(plan.off + reaction[1], 1))
    weighs = kind in ("kettle to the boil", "hob") and c.random() < 0.5
    return Run(
        kind=kind,
        fate=fate,
        full_output=sum(full) / len(full),
        trace=trace,
        mains=mains if kind == "oven log" else None,
        times=stated,
        water=round(water_kg + c.uniform(-0.002, 0.002), 3),
        weighed_after=round(water_kg - network.lost_kg + c.uniform(-0.001, 0.001), 3) if weighs else None,
        vessel=(s.material, round(s.grams)) if c.random() < 0.85 else None,
        real_vessel=(s.material, s.grams),
        room=round(room + c.uniform(-0.5, 0.5), 1),
        on_s=plan.on,
        off_s=plan.off,
        stays_on=stays_on,
        resolution=resolution,
        notes={
            "lag": lag,
            "lag_heater": lag_heater,
            "rise": rise,
            "start_over_room": start - room,
            "end_over_room": start + rise - room,
            "to_room": s.to_room,
            "out": hand["out"],
            "lost_g": network.lost_kg * 1000,
            "part": part,
            "interval": interval,
            "warm_up": plan.warm_up,
            "heat_s": heat_s,
            "vessel_heat": vessel_heat * part,
        },
    )
