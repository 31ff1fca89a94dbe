"""Evaluation: from a settled capture to a verdict with its uncertainty, its rule and its arithmetic.

capture ──measured──▶ Result ──post-processor──▶ Result ──judge──▶ Verdict
"""

from __future__ import annotations

from meterlog.judging.accuracy import Accuracy, parse_accuracy
from meterlog.judging.limit import Limit, Rule
from meterlog.judging.measurement import measured, null_of
from meterlog.judging.result import Context, Result
from meterlog.judging.rule import judge
from meterlog.judging.verdict import Outcome, Verdict

__all__ = [
    "Accuracy",
    "Context",
    "Limit",
    "Outcome",
    "Result",
    "Rule",
    "Verdict",
    "judge",
    "measured",
    "null_of",
    "parse_accuracy",
]
