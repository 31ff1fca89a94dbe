"""The heating run: a temperature trace of a heated load to useful power, with its budget and verdict."""

from meterlog.heating.balance import Load
from meterlog.heating.methods import METHODS, misfit, useful_power, useful_power_uncertainty
from meterlog.heating.pair import run_pair
from meterlog.heating.repeats import pooled
from meterlog.heating.result import HeatingResult
from meterlog.heating.run import run
from meterlog.heating.stated import Stated, read_mass, read_moment, read_room, read_stated
from meterlog.heating.trace import Series, Trace, read_trace
from meterlog.heating.vessel import NO_VESSEL, Vessel, read_vessel

__all__ = [
    "METHODS",
    "NO_VESSEL",
    "HeatingResult",
    "Load",
    "Series",
    "Stated",
    "Trace",
    "Vessel",
    "misfit",
    "pooled",
    "read_mass",
    "read_moment",
    "read_room",
    "read_stated",
    "read_trace",
    "read_vessel",
    "run",
    "run_pair",
    "useful_power",
    "useful_power_uncertainty",
]
