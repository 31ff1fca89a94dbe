"""A job's case: what its verdicts rest on, and the one function that concludes a step from it.

Live, replay and audit all conclude here, so a verdict can be reached again from what was kept:
the captures that counted, the entries from plate and person, the accuracy and facts of each
instrument, the procedure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.heating.stated import StatedValue
from meterlog.judging import Context, Outcome, Verdict, measured
from meterlog.judging.applied_voltage import wrong_voltage
from meterlog.judging.postprocess import AtHand, CaptureAtHand
from meterlog.procedure.entries import entry_values
from meterlog.procedure.heating_step import StepRun, heated
from meterlog.procedure.judged_step import judge_capture, judge_step

if TYPE_CHECKING:
    from meterlog.base.readings import Capture, Reading
    from meterlog.judging import Accuracy, Result
    from meterlog.judging.limit import Rule
    from meterlog.procedure.steps import Procedure, Step


Log = Callable[[], "tuple[tuple[float, Reading], ...]"]
"""Gives all (time in s, reading) of a capture's run, when asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentFacts:
    """What is known of an instrument on the bench besides its profile.

    Attributes:
        calibrated_age_s: time between its last calibration and the capture, s; None when not known.
        ambient_k: temperature at which it is used, K; None for within its stated span.
        open_circuit_voltage: V that its resistance function shows at most; None when not known.
    """

    calibrated_age_s: float | None = None
    ambient_k: float | None = None
    open_circuit_voltage: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepAnswer:
    """A capture with the instrument that it came from; `log` gives all (time, reading) of its run.

    `beside` gives what other instruments read of the mains side meanwhile, for a heating run.
    Captures of one `instrument` on one range share its gain; "" when it is not known.
    """

    capture: Capture
    instrument: str = ""
    accuracy: Accuracy | None = None
    facts: InstrumentFacts = field(default_factory=InstrumentFacts)
    log: Log = tuple
    beside: Log = tuple


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What is known of a job at one moment.

    Attributes:
        where: the jurisdiction whose limits were chosen.
        entries: from the rating plate and the person, each with its unit: {"rated output": "900 W"}.
        answers: by step key, the capture that counts.
        rule: a decision rule in place of the procedure's; None for its own.
    """

    procedure: Procedure
    where: str = ""
    rule: Rule | None = None
    entries: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, StepAnswer] = field(default_factory=dict)

    def rule_for(self, step: Step) -> Rule:
        """The decision rule for a step."""
        return self.rule or step.rule or self.procedure.rule

    def null(self) -> Result | None:
        """The leads' resistance, from the last of the procedure's lead checks that was answered."""
        for step in reversed(self.procedure.steps):
            if step.kind.is_null and step.key in self.answers:
                answer = self.answers[step.key]
                return measured(answer.capture, accuracy=answer.accuracy, context=_context(self, answer), of="leads")
        return None

    def entries_si(self) -> dict[str, tuple[float, float]]:
        """The ends, SI, of the entries that the procedure knows; one that cannot be read counts as not entered."""
        return entry_values(self.procedure, self.entries)

    def at_hand(self) -> AtHand:
        """What a step's method may name: the other steps' captures, the leads, the entries."""
        leads = [step.key for step in self.procedure.steps if step.kind.is_null]
        taken = {key: _taken(self, answer, is_null=key in leads) for key, answer in self.answers.items()}
        nulls = [taken[key] for key in leads if key in taken]
        missing = {
            step.key: f"{step.key} is not measured yet" for step in self.procedure.steps if step.key not in taken
        }
        unknown = self.procedure.entries.keys() - self.entries.keys()
        missing |= {name: f"{name} is not entered yet: enter it, and this check is judged with it" for name in unknown}
        return AtHand(taken=taken, nulls=tuple(nulls[-1:]), entries=self.entries, missing=missing)


def conclude(case: Case, step: Step) -> Verdict:
    """The verdict on a step of a case, from its counting capture and, where it is derived, from others'.

    To judge again under a newer procedure or rule, conclude a case that has it.
    """
    answer = case.answers.get(step.key)
    if answer is not None and (why := wrong_voltage(answer.capture.form, step.test_voltage)):
        return Verdict(outcome=Outcome.NOT_JUDGED, why=why, quantity=step.quantity)
    if step.method and not step.kind.is_run:
        return judge_step(step, case.at_hand(), rule=case.rule_for(step), context=_context(case, answer))
    if answer is None:
        return Verdict(outcome=Outcome.NOT_JUDGED, why="nothing was captured for this step")
    if step.kind.is_run:
        return heated(heating_run(case, step, answer))
    return judge_capture(
        step,
        answer.capture,
        accuracy=answer.accuracy,
        null=None if step.kind.is_null else case.null(),
        rule=case.rule_for(step),
        context=_context(case, answer),
    )


def heating_run(case: Case, step: Step, answer: StepAnswer) -> StepRun:
    """What a heating step of a case is concluded from; pages draw from it too."""
    return StepRun(
        step=step,
        log=answer.log(),
        beside=answer.beside(),
        channel=answer.capture.form.channel,
        timing=answer.capture.timing,
        entries=case.entries,
        numbers=case.entries_si(),
        measured=_measured_inputs(case, step),
        limit=step.limit_for(case.where),
        rule=case.rule_for(step),
    )


def _measured_inputs(case: Case, step: Step) -> dict[str, StatedValue]:
    """What other steps measured that a step names, such as a weighed mass, SI; half widths of rectangles."""
    found = {}
    for key in set(step.inputs.values()) & set(case.answers):
        answer = case.answers[key]
        result = measured(answer.capture, accuracy=answer.accuracy, context=_context(case, answer))
        if result.value is not None:
            found[key] = StatedValue(value=result.value, half_width=result.u * 3.0**0.5)
    return found


def _context(case: Case, answer: StepAnswer | None) -> Context:
    facts = answer.facts if answer else InstrumentFacts()
    return Context(
        ambient_k=facts.ambient_k,
        calibration_age_s=facts.calibrated_age_s,
        where=case.where,
        entries=case.entries_si(),
    )


def _taken(case: Case, answer: StepAnswer, *, is_null: bool) -> CaptureAtHand:
    return CaptureAtHand(
        capture=answer.capture,
        accuracy=answer.accuracy,
        instrument=answer.instrument,
        context=_context(case, answer),
        is_null=is_null,
        log=answer.log,
    )
