"""Which address shows which page."""

from __future__ import annotations

from typing import Any

from meterlog.web import bench, capture, handover, history, job, jobs, stream, verdict

ROUTES: list[tuple[str, Any]] = [
    (r"^/$", jobs.page),
    (r"^/bench$", bench.page),
    (r"^/bench/at-hand$", bench.fragment),
    (r"^/bench/stream$", stream.stream),
    (r"^/bench/minute$", bench.minute),
    (r"^/bench/act$", bench.act),
    (r"^/bench/seen$", bench.seen),
    (r"^/bench/enter$", bench.enter),
    (r"^/bench/open$", bench.open_job),
    (r"^/bench/close$", bench.close_job),
    (r"^/bench/aside$", bench.lay_aside),
    (r"^/bench/take$", bench.take_up),
    (r"^/bench/fitted$", bench.part_fitted),
    (r"^/bench/did$", bench.work_done),
    (r"^/jobs$", jobs.page),
    (r"^/job/(?P<ref>.+)/photo$", job.add_photo),
    (r"^/job/(?P<ref>.+)$", job.page),
    (r"^/report/(?P<ref>.+)$", handover.page),
    (r"^/history$", history.overview),
    (r"^/history/(?P<step>[^/]+)$", history.page),
    (r"^/photo/(?P<digest>[0-9a-f]{64})$", job.photo),
    (r"^/capture/(?P<number>[^/.]+)$", capture.page),
    (r"^/capture/(?P<number>[^/.]+)\.csv$", capture.as_csv),
    (r"^/verdict/(?P<number>[^/]+)$", verdict.page),
]

MENU = [("/bench", "Bench"), ("/jobs", "Jobs"), ("/history", "History")]
"""Links in the head of every page: path and words."""
