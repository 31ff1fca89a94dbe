"""A heated load, simulated: heater, water, a vessel that follows, loss to the room, a lagging probe, a coarse display.

The only inputs are physical; nothing here knows how the product computes. The states follow
m c dT/dt = P(t) - G_v (T - T_v) - hA (T - T_room), C_v dT_v/dt = G_v (T - T_v), tau dT_p/dt = T - T_p,
a dry part of the vessel that follows its wet part far later, and a heater that stores heat and gives it to the load
with a lag of its own, as long as the load stands on it; with c(T) of IAPWS-95 tabulated by the iapws package.
"""

from dataclasses import dataclass, replace

import numpy as np


def _tables():
    """Specific heat of water, J/(kg K), and pressure of its steam, Pa, each half kelvin from 0 °C."""
    from iapws import IAPWS95

    grid = np.linspace(0.5, 99.5, 40)
    fine = np.arange(0.0, 110.0, 0.5)
    heats = [IAPWS95(T=t + 273.15, P=0.101325).cp * 1000.0 for t in grid]
    pressures = [IAPWS95(T=t + 273.15, x=1).P * 1e6 for t in grid]
    return np.interp(fine, grid, heats), np.interp(fine, grid, pressures)


HEATS, PRESSURES = _tables()


@dataclass(frozen=True, kw_only=True)
class Bench:
    """Everything true of one run; temperatures °C."""

    power: float = 900.0
    mass: float = 1.0
    vessel: float = 0.0  # J/K that take part
    vessel_lag: float = 20.0  # s
    dry: float = 0.0  # J/K of handle, lid and the wall above the water
    dry_lag: float = 80.0  # s
    loss: float = 1.2  # W/K
    open: float = 0.0  # m² from which it evaporates
    room: float = 21.0
    first: float = 15.0
    start: float = 60.0
    stop: float = 180.0
    end: float = 300.0
    interval: float = 1.0
    display: float = 0.1
    noise: float = 0.02
    probe_lag: float = 3.0
    offset: float = 0.0
    gain: float = 0.0
    on: float = 0.0  # cycling: s on of each period
    period: float = 0.0
    heater_lag: float = 0.0
    warm_up: float = 0.0  # s after switching on, each time, before anything is heated
    lifted: bool = False  # off the heater when that is switched off
    salt: float = 0.0  # relative error of c
    out: tuple = ()  # (from, to): probe in the room's air
    mixing: float = 0.0  # K by which the probe misses more of the mean after than before
    boils: float = 200.0
    seed: int = 0


def heater(bench, t):
    on = (t >= bench.start + bench.warm_up) & (t < bench.stop)
    if bench.period:
        since = (t - bench.start) % bench.period
        on &= (since >= bench.warm_up) & (since < bench.on)
    return bench.power * on


def mean_power(bench):
    """Heat that the load got over the time from switching on to switching off, W."""
    seconds = bench.stop - bench.start
    if not bench.lifted:
        return bench.power * (1.0 - bench.warm_up / seconds)
    return bench.power * (1.0 + bench.heater_lag / seconds * np.expm1(-seconds / bench.heater_lag))


def simulate(bench):
    """(times, displayed temperatures °C, heater power at those times)."""
    rng = np.random.default_rng(bench.seed)
    dt = min(0.1, bench.interval / 4.0) if bench.end < 900 else 0.25
    n = round(bench.end / dt)
    t = np.arange(n + 1) * dt
    # heater power averaged over each step, so that edges within a step count by their share
    fine = (t[:-1, None] + (np.arange(10) + 0.5)[None, :] * dt / 10.0).ravel()
    p = heater(bench, fine).reshape(n, 10).mean(axis=1)
    probe = _integrate(bench, t, p, dt)
    step = max(round(bench.interval / dt), 1)
    shown = probe[::step].copy()
    shown += bench.mixing * np.clip((t[::step] - bench.start) / (bench.stop - bench.start), 0.0, 1.0)
    shown = shown + bench.offset + bench.gain * (shown - bench.first) + rng.normal(0.0, bench.noise, shown.size)
    if bench.display:
        shown = np.round(shown / bench.display) * bench.display
    return t[::step], shown, heater(bench, t[::step])


def _integrate(bench, t, p, dt):
    water, vessel, dry, probe, heat = bench.first, bench.first, bench.first, bench.first, 0.0
    p = p.tolist()
    probes = [probe]
    follow = bench.vessel / bench.vessel_lag if bench.vessel else 0.0
    heats = (HEATS * bench.mass * (1.0 + bench.salt)).tolist()
    steam = (np.maximum(PRESSURES - 1170.0, 0.0) * 0.089 * bench.open).tolist()
    decay = 1.0 - np.exp(-dt / bench.probe_lag) if bench.probe_lag else 1.0
    out = bench.out or (1e9, 1e9)
    for i in range(len(p)):
        heat += (p[i] - heat) * (min(dt / bench.heater_lag, 1.0) if bench.heater_lag else 1.0)
        heat *= not (bench.lifted and t[i] >= bench.stop)
        to_vessel = follow * (water - vessel)
        place = int(water * 2.0)
        water += dt * (heat - to_vessel - bench.loss * (water - bench.room) - steam[place]) / heats[place]
        if bench.vessel:
            to_dry = bench.dry / bench.dry_lag * (vessel - dry)
            vessel += dt * (to_vessel - to_dry) / bench.vessel
            dry += dt * to_dry / bench.dry if bench.dry else 0.0
        water = min(water, bench.boils)
        in_air = out[0] <= t[i + 1] < out[1]
        probe += (bench.room - probe) * (dt / 20.0) if in_air else (water - probe) * decay
        probes.append(probe)
    return np.array(probes)


def csv_text(bench, *, power=False, hole=False, efficiency=1.0):
    """The trace as the thermometer's log would write it; `hole` leaves the cell empty while the probe is out."""
    times, shown, watts = simulate(bench)
    lines = ["t_s,temperature_C" + (",power_W" if power else "")]
    for t, v, w in zip(times, shown, watts, strict=True):
        gone = hole and bench.out and bench.out[0] <= t < bench.out[1]
        lines.append(f"{t:g},{'' if gone else f'{v:.2f}'}" + (f",{w / efficiency:.1f}" if power else ""))
    return "\n".join(lines) + "\n"


__all__ = ["Bench", "csv_text", "mean_power", "replace", "simulate"]
