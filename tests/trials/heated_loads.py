"""Heated loads by physics alone: what a bench would have logged, and the power that was truly given.

Written from a handbook's account of water calorimetry and nothing else: it imports nothing of the program, and
nothing of its other simulator. Many runs step together, a column each:

    C_w/2 dT_low/dt  = (1 - f) Q - M (T_low - T_up) - G_v (T_low - T_wall) - (loss, steam)/2
    C_w/2 dT_up/dt   =      f  Q + M (T_low - T_up)                         - (loss, steam)/2
    C_wall dT_wall/dt = G_v (T_low - T_wall) - G_d (T_wall - T_dry)
    C_dry dT_dry/dt   = G_d (T_wall - T_dry)
    C_h dT_h/dt       = P(t) - G_h (T_h - T_low),        Q = G_h (T_h - T_low)

Q, what passes into water and vessel, is useful power. At full output it is its mean once the heater has come up
(four of its lags), until it is switched off or the load boils; over the clock, all of it by the time from switch to
switch. Layers mix slowly while nobody stirs, quickly while somebody does. A probe follows what it stands in: water,
or the room's air, where a wet one first falls below it.

Figures, where they have a source: c and steam pressure of water, IAPWS-95 by the iapws package; specific heats and
the part of a vessel that warms, spreads of public engineering tables and common practice; 0.5 to 2 W/K of an open
litre, common practice; pool formula, ± 50 %, from memory; a generator's warm-up of 1 to 3 s, service manuals.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from iapws import IAPWS95

STEP = 0.1  # s
GRID = np.arange(0.5, 101.0, 0.5)
_COARSE = np.linspace(0.5, 100.5, 26)
HEAT = np.interp(GRID, _COARSE, [IAPWS95(T=t + 273.15, P=0.11).cp * 1000.0 for t in _COARSE])
STEAM = np.exp(np.interp(GRID, _COARSE, np.log([IAPWS95(T=t + 273.15, x=1).P * 1e6 for t in _COARSE])))

MATERIALS = {  # J/(kg K), its half width; part that warms with the water, from and to; s that the rest follows in
    "glass": (820.0, 60.0, (0.6, 1.0), (150.0, 900.0)),
    "polypropylene": (1800.0, 150.0, (0.2, 0.8), (60.0, 300.0)),
    "steel": (500.0, 20.0, (0.75, 1.0), (40.0, 200.0)),
    "aluminium": (900.0, 20.0, (0.9, 1.0), (20.0, 60.0)),
}
KINDS = ("oven, stopwatch", "oven, power log", "kettle", "kettle to the boil", "urn", "hob")
FAULTS = ("left out", "half out", "moved", "in air before", "ends at the room's", "none")


@dataclass(frozen=True)
class Drawn:
    """One run as it was drawn: physics, what its person states, and what was logged of it."""

    kind: str
    fault: str
    physics: dict
    stated: dict
    text: str = ""
    full_output: float = 0.0  # W
    clock: float = 0.0  # W

    @property
    def is_near(self):
        """Whether the load started or ended so near to the room (3 K) that no step could show."""
        p = self.physics
        rise = self.clock * (p["stop"] - p["start"]) / (4186.0 * p["kg"] + p["wall"])
        return min(abs(p["first"] - p["room"]), abs(p["first"] + rise - p["room"])) < 3.0

    @property
    def stirred(self):
        """What the person may say in truth of having stirred with the probe in the load."""
        not_in = {"left out": "after", "in air before": "before"}.get(self.fault)
        return tuple(side for side in ("before", "after") if side != not_in)


@dataclass
class _Draw:
    rng: np.random.Generator
    kind: str
    fault: str = "none"
    values: dict = field(default_factory=dict)
    stated: dict = field(default_factory=dict)

    def u(self, low, high):
        return float(self.rng.uniform(low, high))

    def pick(self, *of):
        return of[int(self.rng.integers(len(of)))]


def draw(seed, kind=None, fault="none"):
    """(physics, stated) of one run."""
    rng = np.random.default_rng([seed, 60705])
    d = _Draw(rng, kind or KINDS[seed % len(KINDS)], fault)
    oven, hob = d.kind.startswith("oven"), d.kind == "hob"
    kg = {"kettle": d.pick(0.8, 1.0, 1.5, 1.7), "kettle to the boil": d.pick(0.8, 1.0, 1.7), "urn": d.pick(5, 8, 15),
          "hob": d.pick(1.0, 1.5, 2.0, 3.0)}.get(d.kind, d.pick(0.5, 1.0, 1.0, 1.0, 2.0))  # fmt: skip
    watts = d.u(500, 1000) if oven else d.u(700, min(2000.0, 1100.0 * kg)) if hob else d.u(1500, 3000)
    room = d.u(18, 25)
    first = d.u(8, 24) if oven else d.u(10, 22)
    rise = {"kettle": d.u(25, 55), "kettle to the boil": 99.0, "urn": d.u(12, 30), "hob": d.u(25, 55)}.get(
        d.kind, d.u(9, 22)
    )
    if fault == "ends at the room's":
        first = d.u(6, 11)
        rise = room + d.u(-0.9, 0.9) - first
    elif fault != "none":
        first = d.u(6, 15) if fault != "in air before" else d.pick(d.u(6, room - 3), room - d.u(2, 5))
        rise = d.u(12, 22)
    material = "glass" if oven and d.u(0, 1) < 0.7 else d.pick("polypropylene", "glass") if oven else "steel"
    material = d.pick("steel", "aluminium") if hob else material
    heat, half, warms, rest = MATERIALS[material]
    grams = d.u(250, 600) * kg ** (2 / 3) if material != "polypropylene" else d.u(60, 200) * kg ** (2 / 3)
    whole = grams / 1000 * (1 + d.u(-0.01, 0.01)) * (heat + d.u(-half, half))
    part, dry_lag = d.u(*warms), d.u(*rest)
    true_kg = kg + d.u(-1, 1) * max(0.002, 0.002 * kg)
    start = d.u(40, 80)
    capacity = 4186 * true_kg + whole
    seconds = capacity * rise / watts
    if hob:
        seconds = max(seconds, 240.0)
    if d.kind == "kettle":
        seconds = max(seconds, 60.0)
    warm_up = d.u(1, 3) if oven else 0.0
    if d.kind == "kettle to the boil":
        seconds = capacity * (99.0 - first) / watts + d.u(10, 40)
    stop = start + seconds + warm_up
    size = kg ** (2 / 3)
    d.values = {
        "watts": watts, "kg": true_kg, "first": first, "room": room, "room_drift": d.u(-0.3, 0.3) / 600,
        "wall": whole * part, "dry": whole * (1 - part), "wall_lag": d.u(3, 12), "dry_lag": dry_lag,
        "filled_cold": 1.0 if oven and d.u(0, 1) < 0.5 else 0.0,
        "loss": d.u(0.5, 2.0) * size,
        "open": 0.0284 * size * (d.pick(0.0, d.u(0.1, 0.5)) if not oven else d.u(0.3, 1.2)),
        "heater": d.u(400, 1500) if hob else d.u(20, 120),
        "heater_lag": d.u(8, min(45, seconds / 8)) if hob else d.u(1, 6),
        "is_oven": float(oven), "lifted": float(hob and d.u(0, 1) < 0.7), "leaks": d.u(0.2, 1.2) if hob else 0.0,
        "warm_up": warm_up, "start": start, "stop": stop, "end": stop + d.u(90, 200), "boils": d.u(97.5, 100.0),
        "upper": d.u(0.45, 0.6) if oven else d.u(0.3, 0.6), "mix": d.u(0.02, 0.06) if oven else d.u(0.15, 0.5),
        "stirred_from": stop + d.u(2, 6), "stirred_to": stop + d.u(12, 20),
        "probe_lag": d.u(0.6, 7), "air_lag": d.u(10, 60), "wet": d.u(0, 4), "dries": d.u(20, 120),
        "warm_air": d.u(0, 1.5) if oven else 0.0, "draught": d.u(0.02, 0.12),
        "out": start - d.u(3, 12) if oven else 1e9, "back": stop + d.u(4, 12) if oven else 1e9,
        "interval": d.pick(0.5, 1.0, 1.0, 2.0), "display": d.pick(0.1, 0.1, 0.01), "noise": d.u(0.0, 0.05),
        "offset": d.u(-0.5, 0.5), "gain": float(rng.normal(0, 0.002)), "salt": float(rng.normal(0, 0.0007)),
        "misses": float(rng.normal(0, 0.05)), "misses_before": float(rng.normal(0, 0.05)),
        "immersed": 1.0, "pulled": 1e9, "clock_off": d.u(0, 1), "seed": int(rng.integers(1 << 31)),
    }  # fmt: skip
    _go_wrong(d)
    d.stated = {"mass": f"{kg * 1000:g} g", "vessel": f"{grams:.0f} g {material}", "kind": d.kind}
    if d.u(0, 1) < 0.8:
        d.stated["ambient"] = f"{room + d.u(-1, 1):.1f} °C ± 1 K"
    hand = 0.3 / 2**0.5
    if d.kind in ("oven, stopwatch", "hob", "kettle", "urn") and (oven or d.u(0, 1) < 0.5):
        d.stated |= {"start": f"{start + d.u(-hand, hand):.2f} s", "stop": f"{stop + d.u(-hand, hand):.2f} s"}
    d.stated["hole"] = oven and fault == "none" and d.u(0, 1) < 0.25
    d.stated["log_interval"] = d.pick(0.2, 0.5, 1.0)
    return d


def _go_wrong(d):
    v = d.values
    if d.fault == "left out":
        v["back"] = 1e9
    elif d.fault == "half out":
        v["immersed"] = d.u(0.3, 0.7)
    elif d.fault == "moved":
        v["pulled"] = v["back"] + d.u(12, 40)
    elif d.fault == "in air before":
        v["out"] = -1.0


def simulate(draws):
    """The runs drawn, with what was logged and the true powers; all together, each its own column."""
    n = len(draws)
    v = {key: np.array([d.values[key] for d in draws], float) for key in draws[0].values}
    steps = int(np.ceil(v["end"].max() / STEP))
    rng = np.random.default_rng(int(v["seed"][0]))
    low, up = v["first"].copy(), v["first"].copy()
    body = v["first"].copy()
    wall = np.where(v["filled_cold"] > 0, v["first"] + 0.15 * (v["room"] - v["first"]), v["first"])
    dry = np.where(v["filled_cold"] > 0, v["room"], v["first"])
    probe = np.where(v["out"] < 0, v["room"], v["first"])
    stem = probe.copy()
    air_off = np.zeros(n)
    boiled_at = np.full(n, np.inf)
    probes = np.empty((steps + 1, n))
    useful = np.zeros((steps + 1, n))
    probes[0] = probe
    follow, behind, give = v["wall"] / v["wall_lag"], v["dry"] / v["dry_lag"], v["heater"] / v["heater_lag"]
    for i in range(steps):
        t = i * STEP
        on = np.clip((v["stop"] - t) / STEP, 0, 1) * np.clip((t + STEP - v["start"] - v["warm_up"]) / STEP, 0, 1)
        given = v["watts"] * on
        coming = np.where(v["is_oven"] > 0, given, give * (body - low))
        away = (v["lifted"] > 0) & (t >= v["stop"])
        coming = np.where(away, 0.0, coming)
        body += STEP * np.where(v["is_oven"] > 0, 0.0, (given - coming - v["leaks"] * (body - v["room"])) / v["heater"])
        useful[i] = coming
        room = v["room"] + v["room_drift"] * t
        stirred = ((t >= v["stirred_from"]) & (t < v["stirred_to"])) | (t < v["start"] - 5)
        mean = (low + up) / 2
        capacity = np.interp(mean, GRID, HEAT) * v["kg"] * (1 + v["salt"]) / 2
        mix = np.where(stirred, 0.5, v["mix"]) * capacity * (low - up)
        out = v["loss"] * (mean - room) + v["open"] * 0.089 * np.maximum(np.interp(mean, GRID, STEAM) - 1170, 0)
        to_wall, to_dry = follow * (low - wall), behind * (wall - dry)
        low += STEP * ((1 - v["upper"]) * coming - mix - to_wall - out / 2) / capacity
        up += STEP * (v["upper"] * coming + mix - out / 2) / capacity
        wall += STEP * (to_wall - to_dry) / v["wall"]
        dry += STEP * to_dry / np.maximum(v["dry"], 1e-3)
        np.minimum(low, v["boils"], out=low)
        np.minimum(up, v["boils"], out=up)
        air_off += -air_off * STEP / 30.0 + v["draught"] * np.sqrt(2 * STEP / 30.0) * rng.normal(size=n)
        in_air = ((t >= v["out"]) & (t < v["back"])) | (t >= v["pulled"])
        wet = v["wet"] * np.exp(-np.maximum(t - np.where(t >= v["pulled"], v["pulled"], v["out"]), 0) / v["dries"])
        wet = np.where(v["out"] < 0, np.where(t >= v["pulled"], wet, 0.0), wet)
        air = room + air_off + v["warm_air"] * np.clip((t - v["start"]) / 60, 0, 1) - wet
        here = 0.45 * low + 0.55 * up
        stem += STEP / (v["air_lag"] / 2) * (air - stem)
        part = np.where(t >= v["back"], v["immersed"], 1.0)
        goal = np.where(in_air, air, part * here + (1 - part) * stem)
        probe = probe + (goal - probe) * -np.expm1(-STEP / np.where(in_air, v["air_lag"], v["probe_lag"]))
        probes[i + 1] = probe
        boiled_at = np.where(up >= v["boils"] - 0.5, np.minimum(boiled_at, t), boiled_at)
    return [_logged(d, probes[:, k], useful[:, k], boiled_at[k]) for k, d in enumerate(draws)]


def _logged(d, probe, useful, boiled_at):
    v, rng = d.values, np.random.default_rng(d.values["seed"])
    times = np.arange(0, int(v["end"] / v["interval"])) * v["interval"]
    seen = np.interp(times, np.arange(probe.size) * STEP, probe)
    share = np.clip((times - v["start"]) / (v["stop"] - v["start"]), 0, 1)
    seen = seen + v["offset"] + v["gain"] * (seen - v["first"]) + v["misses"] * share + v["misses_before"] * (1 - share)
    seen = np.round((seen + rng.normal(0, v["noise"], seen.size)) / v["display"]) * v["display"]
    clock = np.arange(useful.size) * STEP
    span = v["stop"] - v["start"]
    heated = min(v["stop"], boiled_at - 5.0) - v["start"]
    steady = (clock >= v["start"] + 4.0 * v["heater_lag"]) & (clock < v["start"] + heated)
    full = v["watts"] if d.kind.startswith("oven") else useful[steady].mean()
    mean = useful[(clock >= v["start"]) & (clock < v["stop"])].sum() * STEP / span
    hole = d.stated["hole"]
    rows = {}
    for t, c in zip(times, seen, strict=True):
        rows[round(float(t), 3)] = "" if hole and v["out"] <= t < v["back"] else f"{c:.2f}"
    power = d.kind == "oven, power log"
    lines = ["t_s,temperature_C" + (",power_W" if power else "")]
    if power:
        grid = np.arange(0, int(v["end"] / d.stated["log_interval"])) * d.stated["log_interval"]
        drawn = np.where((grid >= v["start"]) & (grid < v["stop"]), v["watts"] / 0.58, 2.0)
        filament = (grid >= v["start"]) & (grid < v["start"] + v["warm_up"])
        drawn = np.where(filament, 0.3 * drawn, drawn) * (1 + rng.normal(0, 0.004, grid.size))
        mains = {round(float(t), 3): f"{p:.1f}" for t, p in zip(grid, drawn, strict=True)}
        lines += [f"{t:g},{rows.get(t, '')},{mains.get(t, '')}" for t in sorted(rows.keys() | mains.keys())]
    else:
        lines += [f"{t:g},{c}" for t, c in rows.items()]
    stated = {key: d.stated[key] for key in ("mass", "vessel", "ambient", "start", "stop") if key in d.stated}
    return Drawn(d.kind, d.fault, v, stated, "\n".join(lines) + "\n", float(full), float(mean))
