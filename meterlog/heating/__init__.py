"""The heating run: a temperature trace of a heated load to useful power, with its budget and verdict."""

from meterlog.heating.answer.judged import Plate
from meterlog.heating.answer.methods import METHODS, misfit, useful_power, useful_power_uncertainty
from meterlog.heating.answer.repeats import pooled
from meterlog.heating.answer.result import HeatingResult
from meterlog.heating.balance.load import Load
from meterlog.heating.balance.vessel import NO_VESSEL, Vessel, read_vessel
from meterlog.heating.run import run
from meterlog.heating.stated import StatedValue, read_mass, read_moment, read_room, read_stated, read_warm_up
from meterlog.heating.trace.columns import HeatingTrace, LoggedQuantity, read_trace

__all__ = [
    "METHODS",
    "NO_VESSEL",
    "HeatingResult",
    "HeatingTrace",
    "Load",
    "LoggedQuantity",
    "Plate",
    "StatedValue",
    "Vessel",
    "misfit",
    "pooled",
    "read_mass",
    "read_moment",
    "read_room",
    "read_stated",
    "read_trace",
    "read_vessel",
    "read_warm_up",
    "run",
    "useful_power",
    "useful_power_uncertainty",
]
