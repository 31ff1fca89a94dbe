"""The way of a newcomer, from what is plugged in to the first job: the same in the terminal and on the page."""

from __future__ import annotations

FIRST_STEPS: tuple[tuple[str, str], ...] = (
    ("Look around first, with nothing plugged in", "meterlog demo"),
    ("See what is plugged in", "meterlog ports"),
    ("Find the shipped profile that reads it", "meterlog profile try /dev/ttyUSB0"),
    ("Write down what stands on the bench", "meterlog bench new > bench.yaml"),
    ("See whether each instrument answers", "meterlog bench check --bench bench.yaml"),
    ("Listen, and keep what is read", "meterlog listen --bench bench.yaml"),
    ("Open the first job, here or on the phone", "meterlog browse"),
)
"""What is done, and what is typed for it, in order."""
