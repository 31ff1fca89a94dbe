"""Water against a public library of IAPWS-95, at 101.325 kPa, and against printed tables."""

import pytest
from iapws import IAPWS95

from meterlog.heating import water


@pytest.fixture(scope="module")
def steam():
    return {
        t: (IAPWS95(T=t + 273.15, P=0.101325), IAPWS95(T=t + 273.15, x=1))
        for t in (0.02, 5, 10, 20, 37, 50, 65, 80, 90, 95, 99.9)
    }


def test_enthalpy_and_specific_heat_are_those_of_iapws_95(steam):
    for t, (liquid, _) in steam.items():
        kelvin = t + 273.15
        assert water.enthalpy(kelvin) == pytest.approx(liquid.h * 1000.0, abs=1.0), t
        assert water.specific_heat(kelvin) == pytest.approx(liquid.cp * 1000.0, abs=0.5), t


def test_steam_is_that_of_iapws_95(steam):
    for t, (_, vapour) in list(steam.items())[1:]:
        assert water.vapour_enthalpy(t + 273.15) == pytest.approx(vapour.h * 1000.0, abs=10.0), t
        assert water.saturation_pressure(t + 273.15) == pytest.approx(vapour.P * 1e6, rel=3e-4), t


BOILING = [  # kPa, °C: IAPWS-95 by a public library, as the reference prints them
    (70, 89.93), (80, 93.49), (90, 96.69), (98, 99.04), (101.325, 99.974), (103, 100.43),
]  # fmt: skip


@pytest.mark.parametrize(("kilopascal", "celsius"), BOILING)
def test_water_boils_at(kilopascal, celsius):
    """A hundredth of a kelvin is 0.04 kPa."""
    assert water.saturation_pressure(celsius + 273.15) / 1000.0 == pytest.approx(kilopascal, abs=0.03)


@pytest.mark.parametrize("celsius", [-3.0, 120.0])
def test_what_is_no_liquid_water_is_refused(celsius):
    with pytest.raises(ValueError, match="liquid water is known here from 0 to 100 °C"):
        water.enthalpy(celsius + 273.15)
