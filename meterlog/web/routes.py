"""Which address shows which page."""

from __future__ import annotations

from typing import Any

from meterlog.web import capture, job, jobs, verdict

ROUTES: list[tuple[str, Any]] = [
    (r"^/$", jobs.page),
    (r"^/jobs$", jobs.page),
    (r"^/job/(?P<ref>[^/]+)$", job.page),
    (r"^/photo/(?P<digest>[0-9a-f]{64})$", job.photo),
    (r"^/capture/(?P<number>[^/.]+)$", capture.page),
    (r"^/capture/(?P<number>[^/.]+)\.csv$", capture.as_csv),
    (r"^/verdict/(?P<number>[^/]+)$", verdict.page),
]

MENU = [("/jobs", "Jobs")]
"""Links in the head of every page: path and words."""
