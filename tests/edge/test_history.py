"""What healthy ones of a model read, on the pages: whose, how many, the interval, and the remark that is no verdict."""

from html import unescape
from math import exp, log
from urllib.parse import quote

import pytest
import records
from edge.asked import ask

from meterlog.base import units
from meterlog.record.history import healthy_of_each_model
from meterlog.report import healthy
from meterlog.store.reader import reading
from meterlog.web import serve

OVEN = "household microwave oven with a transformer, high-voltage capacitor, diode and magnetron"
ROUND = {"make": "Invented", "model": "Round One"}
SPELT = {"make": "invented ", "model": "ROUND  one"}
SQUARE = {"make": "Invented", "model": "Square Two"}


def history_of(path, jobs):
    """A record of jobs, each (reference, scale of what it measured, whether it was closed, plate)."""
    bench = records.Bench(path)
    for ref, scale, is_closed, plate in jobs:
        records.play_job(bench, ref, {}, scale, 5 if not is_closed else 99, **plate)
    bench.writer.close(bench.now)
    return path


def primary(path):
    with reading(path) as reader:
        return reader.measurements("primary", OVEN, 50)


def page(path, address):
    return unescape(ask(serve.application(path), address.replace("{oven}", quote(OVEN))).text)


@pytest.fixture(scope="module")
def four(tmp_path_factory):
    """Three healthy ones of a model, one of another, one that is not closed yet and reads half as much again."""
    healthy_ones = [("A-1", 0.96, True, ROUND), ("A-2", 1.0, True, SPELT), ("A-3", 1.04, True, ROUND)]
    jobs = [*healthy_ones, ("B-1", 0.5, True, SQUARE), ("A-4", 1.5, False, ROUND)]
    return history_of(tmp_path_factory.mktemp("four") / "bench.db", jobs)


def test_the_interval_of_three_by_a_printed_table(four):
    """1.64, 1.71, 1.78 ohm: by hand, logarithms 0.4947, 0.5365, 0.5766; mean 0.5359, deviation 0.04096.

    t of 2 degrees of freedom is 4.303 (Fundamentals of Probability and Statistics for Engineers, table A.4).
    """
    found = {each.model: each for each in healthy_of_each_model(primary(four), "ohm")}
    of_it = found["Round One"]
    assert [round(each.value, 2) for each in of_it.measured] == [1.64, 1.71, 1.78]
    half = 4.303 * 0.04096 * (4 / 3) ** 0.5
    assert log(of_it.interval.low) == pytest.approx(0.5359 - half, abs=2e-3)
    assert log(of_it.interval.high) == pytest.approx(0.5359 + half, abs=2e-3)
    assert found["Square Two"].interval.low is None


def test_another_model_an_open_job_and_the_job_itself_do_not_count(four):
    own = next(each for each in primary(four) if each.job.ref == "A-2")
    says = healthy.like_it(primary(four), own).says
    assert says == "Healthy Invented Round One: 1.64 Ω (A-1): fewer than 3 tell no interval.", "and A-3 came later"


def test_the_pages_say_it_and_remark_on_what_is_unlike(four):
    (own,) = [each for each in primary(four) if each.job.ref == "A-4"]
    remark = "2.56 Ω is unlike your earlier ones of this model. That is no verdict: the limit judges."
    interval = "Healthy Invented Round One: 19 in 20 are expected from 1.39 Ω to 2.09 Ω, by 3 readings (few,"
    for address in (
        "/history/primary?appliance={oven}&job=A-4",
        f"/capture/{own.capture.id}",
        f"/verdict/{own.verdict.id}",
    ):
        text = page(four, address)
        assert remark in text
        assert interval in text
    assert own.verdict.outcome == "pass", "a remark and no verdict"
    like = page(four, "/history/primary?appliance={oven}&job=A-3")
    assert "unlike" not in like


def test_without_a_job_each_model_has_its_sentence(four):
    text = page(four, "/history/primary?appliance={oven}")
    assert "Healthy Invented Square Two: 860 mΩ (B-1): fewer than 3 tell no interval." in text
    assert "Healthy Invented Round One: 19 in 20" in text


def test_bounds_are_counted(four):
    with reading(four) as reader:
        measured = reader.measurements("primary-switch-open", OVEN, 50)
    (found, _) = healthy_of_each_model(measured, "ohm")
    assert (found.interval.count, found.interval.bounds) == (0, 3)
    assert healthy.sentence(found) == (
        "Healthy Invented Round One: no number. 3 more read beyond a range, or not above zero: counted, not averaged."
    )


def test_a_part_that_was_fitted_is_no_healthy_one_of_its_model(tmp_path):
    path = tmp_path / "bench.db"
    bench = records.Bench(path)
    for ref, check in (("F-1", "primary"), ("F-2", ""), ("F-3", "fuse")):
        records.play_job(bench, ref, {}, 1.0, 99, **ROUND)
        job, _ = bench.writer.resume_job(ref)
        bench.writer.event("part fitted", bench.now, {"part": "transformer", "check": check}, job=job)
    bench.writer.close(bench.now)
    assert [each.job.ref for each in primary(path) if each.is_healthy] == ["F-3"]


def test_from_ten_on_one_faulty_one_hides_nothing(tmp_path):
    """Nine near 1.7 ohm and a passed one of 0.2: by median and deviation 2.56 ohm stays unlike them."""
    scales = (0.97, 0.98, 0.99, 1.0, 1.0, 1.01, 1.02, 1.03, 1.0, 0.12)
    jobs = [(f"M-{n}", scale, True, ROUND) for n, scale in enumerate(scales)]
    path = history_of(tmp_path / "bench.db", [*jobs, ("M-X", 1.5, False, ROUND)])
    own = primary(path)[-1]
    alike = healthy.like_it(primary(path), own)
    assert "few" not in alike.says
    assert "unlike" in alike.remark
    by_all = [each.value for each in primary(path) if each.is_healthy]
    logs = [log(value) for value in by_all]
    mean = sum(logs) / len(logs)
    spread = (sum((each - mean) ** 2 for each in logs) / (len(logs) - 1)) ** 0.5
    assert exp(mean + 2.262 * spread * (1.1) ** 0.5) > own.value, "mean and deviation would have let it pass for like"
    assert units.show(own.value, "ohm") in alike.remark
