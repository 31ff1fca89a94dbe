"""The address that a bench file says: its instrument is asked there, and what is kept says so."""

import pytest

from meterlog.base.errors import WrongText
from meterlog.daemon.main import stations_of
from meterlog.links.benchfile import read_bench

BENCH = """\
bench: workshop
instruments:
  power-meter:
    profile: {profile}
    port: /dev/null
    address: {address}
"""


def stations(folder, profile, address):
    return stations_of(read_bench(BENCH.format(profile=profile, address=address), "bench.yaml"), folder / "bench.yaml")


def test_the_instrument_is_asked_at_the_address_of_the_bench(tmp_path):
    station = stations(tmp_path, "modbus-rtu", 17)["power-meter"]
    (request,), _ = station.profile.conversation().poll(0.0)
    assert request[:2] == b"\x11\x04"
    assert 'modbus: {address: "17", function: 4}' in station.profile.text


def test_an_address_that_the_profile_has_no_place_for_is_told_with_its_place(tmp_path):
    with pytest.raises(WrongText) as caught:
        stations(tmp_path, "ascii-thermometer", "01")
    assert str(caught.value) == (
        "bench.yaml:6:14: instruments.power-meter.address\n"
        "  expected  an address that its profile can be used at\n"
        "  saw       01\n"
        "  hint      the profile says no address; write `address: 01` in it, and {address} where it stands"
    )
