"""The two worked budgets of the heating reference (sections 9A and 9B), as estimates with their errors."""

from meterlog.base.uncertainty import Error, estimate, rectangle


def nine_a(offset_shared=True):
    """Section 9A: m = 1000.0 g ± 2 g, 20.0 to 29.5 °C on a 0.1 °C display, 60.0 s ± 0.3 s, c ± 0.1 %."""
    mass = estimate(1.000, rectangle("mass", 0.002))
    heat = estimate(4181.6, Error(name="c", standard_uncertainty=4.1816))
    time = estimate(60.0, rectangle("time", 0.3))
    first, last = (estimate(t, rectangle("display", 0.05)) for t in (20.0, 29.5))
    offset = estimate(0.0, rectangle("offset", 0.5))
    first = first + offset
    last = last + (offset if offset_shared else estimate(0.0, rectangle("offset", 0.5)))
    return mass * heat * (last - first) / time


def nine_b():
    """Section 9B: the same readings with vessel, loss, warm-up, mixing and gain."""
    mass = estimate(1000.0, rectangle("mass", 2.0))
    heat = estimate(4.1816, Error(name="c", standard_uncertainty=0.0041816))
    time = estimate(60.0, rectangle("time", 0.3)) - estimate(2.0, rectangle("warm-up", 1.0))
    offset = estimate(0.0, rectangle("offset", 0.5))
    mixing = [Error(name="mixing", standard_uncertainty=0.05) for _ in range(2)]
    first = estimate(20.0, rectangle("display", 0.05), mixing[0]) + offset
    last = estimate(29.5, rectangle("display", 0.05), mixing[1]) + offset
    last = last + estimate(0.0, Error(name="gain", standard_uncertainty=0.002)) * 9.5
    room = estimate(20.0, rectangle("room", 0.5))
    vessel = estimate(500.0, Error(name="vessel mass", standard_uncertainty=1.0)) * estimate(
        0.55, rectangle("c_v", 0.15)
    )
    loss = estimate(1.0, Error(name="hA", standard_uncertainty=0.3))
    clock = estimate(60.0)
    lost = loss * ((first + last) / 2 - room) * clock
    return (mass * heat * (last - first) + vessel * (last - room) + lost) / time
