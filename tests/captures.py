"""Captures made by hand, for tests of post-processors."""

from meterlog.base.readings import Capture, Form
from meterlog.judging import parse_accuracy
from meterlog.judging.postprocess import CaptureAtHand

ONE_PERCENT = parse_accuracy("1 %+ 3 counts")


def capture(counts, *, decimals=2, how="settled", **form):
    form = Form(**{"quantity": "resistance", "unit": "ohm", "scale": 1.0, "decimals": decimals, **form})
    return Capture(form=form, counts=counts, count=12, spread=0.0, deviation=0.0, started=0.0, ended=3.0, first=3,
                   last=14, how=how)  # fmt: skip


def taken(counts, instrument="meter", *, is_null=False, **more):
    return CaptureAtHand(capture=capture(counts, **more), accuracy=ONE_PERCENT, instrument=instrument, is_null=is_null)


RISE = {"cold": "cold", "start": "21.0 degC ± 0.6 degC", "ambient": "24.5 degC ± 0.6 degC"}
