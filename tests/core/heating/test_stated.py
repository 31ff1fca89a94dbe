"""What the person states about load, vessel, times and plate."""

import pytest

from meterlog.base.errors import WrongValue
from meterlog.heating import read_mass, read_moment, read_room, read_vessel
from meterlog.heating.answer.rating import plate_limit, read_plate

MASSES = [  # text, kg, half width kg, source
    ("1000 g ± 2 g", 1.0, 0.002, "by hand"),
    ("1.5 kg +/- 0.2 %", 1.5, 0.003, "by hand"),
    ("1 kg", 1.0, 0.002, "two readings of a kitchen scale, ± 1 g each: common practice, no source"),
    ("1 L", 0.9982, 0.029946, "998.2 kg/m³ at 20 °C, IAPWS-95; a jug's mark ± 3 %: common practice, no source"),
]


@pytest.mark.parametrize(("text", "mass", "half_width", "source"), MASSES)
def test_a_mass(text, mass, half_width, source):
    stated = read_mass(text)
    assert (stated.value, stated.half_width) == pytest.approx((mass, half_width)), source


def test_a_moment_may_be_bare_seconds_of_the_trace():
    assert read_moment("95").value == 95.0
    assert read_moment("1.5 min").value == 90.0
    assert read_moment("60 ± 0.5 s").half_width == 0.5


VESSELS = [  # text, J/K that take part, by hand from the reference's table and the part that warms
    ("500 g polypropylene", 0.5 * 1800 * 0.5),
    ("340 g ± 5 g glass + 120 g steel", 0.34 * 820 * 0.8 + 0.12 * 500 * 0.9),
    ("250 J/K ± 20 J/K", 250.0),
    ("1.2 kg of aluminum", 1.2 * 900 * 0.95),
]


@pytest.mark.parametrize(("text", "capacity"), VESSELS)
def test_a_vessel(text, capacity):
    assert read_vessel(text).capacity == pytest.approx(capacity)


WRONG = [
    (read_vessel, "340 glass", 'write a mass and a material, such as "340 g glass", or "250 J/K", not \'340 glass\''),
    (read_vessel, "340 g glas", "unknown vessel material 'glas': did you mean 'glass'?"),
    (read_mass, "1000", "write a number and its unit, such as \"0.42 ohm\", not '1000'"),
    (read_mass, "0 g", "the load must weigh more than nothing, not '0 g'"),
    (
        read_mass,
        "1000 kg",
        "a heated load is 20 g to 500 kg of water, known to its half or better, not '1000 kg': is the unit right?",
    ),
    (
        read_mass,
        "1 kg ± 2 kg",
        "a heated load is 20 g to 500 kg of water, known to its half or better, not '1 kg ± 2 kg': is the unit right?",
    ),
    (read_vessel, "340 kg glass", "a piece of a vessel weighs 1 g to 200 kg, not '340 kg': is the unit right?"),
    (read_vessel, "0 J/K", "a vessel's heat capacity is above 0 and at most 100000 J/K, not '0 J/K'"),
    (read_room, "500 °C", "the air of a room is -25 °C to 55 °C, ± 15 K or less, not '500 °C': is the unit right?"),
    (
        read_room,
        "21 °C ± 50 K",
        "the air of a room is -25 °C to 55 °C, ± 15 K or less, not '21 °C ± 50 K': is the unit right?",
    ),
    (read_mass, "1 kg ± 1 g ± 1 g", "write one ±, such as \"1000 g ± 2 g\", not '1 kg ± 1 g ± 1 g'"),
    (read_mass, "1 kg ± -1 g", "what stands after ± is a width, at least 0, not '-1 g'"),
]


@pytest.mark.parametrize(("read", "text", "message"), WRONG)
def test_what_cannot_be_read_is_told(read, text, message):
    with pytest.raises(WrongValue) as raised:
        read(text)
    assert str(raised.value) == message


def test_a_plate_has_a_tolerance_with_its_source():
    limit = plate_limit(*read_plate("800 W"))
    assert (limit.low, limit.high) == pytest.approx((680.0, 920.0))
    assert limit.source
    assert plate_limit(*read_plate("800 W ± 10 % output")).low == pytest.approx(720.0)
    heater = plate_limit(*read_plate("2000 W input"))
    assert (heater.low, heater.high) == pytest.approx((1800.0, 2100.0)), "IEC 60335-1 cl. 10: -10 % +5 % (from memory)"
