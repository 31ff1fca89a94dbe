"""The log of a job's readings gives back what it was given, and forgets the oldest first."""

from hypothesis import given
from hypothesis import strategies as st

from meterlog.base.readings import Bound, Form, Reading
from meterlog.base.runlog import RunLog

OHM = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=1)
OVER = Form(quantity="resistance", unit="Mohm", scale=1e6, bound=Bound.OVERLOAD)
READINGS = st.builds(Reading, st.just(OHM), st.integers(-(2**53), 2**53)) | st.just(Reading(OVER, None))


@given(st.lists(READINGS, max_size=40), st.integers(0, 45), st.integers(0, 45))
def test_any_part_is_given_back(readings, first, last):
    log = RunLog()
    for ordinal, reading in enumerate(readings):
        log.add(ordinal + 3, ordinal / 4, reading)
    kept = list(enumerate(readings))
    assert log.between(first, last) == tuple((n / 4, r) for n, r in kept if first <= n + 3 <= last)
    assert log.during(first / 4, last / 4) == tuple((n / 4, r) for n, r in kept if first <= n <= last)


def test_the_oldest_are_forgotten():
    log = RunLog(most=8)
    for ordinal in range(20):
        log.add(ordinal, float(ordinal), Reading(OHM, ordinal))
        assert len(log) <= 8
    assert [reading.counts for _, reading in log.between(0, 99)] == list(range(12, 20))
