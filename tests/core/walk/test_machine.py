"""Any order of acts, verdicts, interruptions and live points: no gate is passed that is shut, no act lands elsewhere.

The model knows nothing of the ledger: it keeps, by the written rules alone, what each answer still carries, and is
asked each time the walk opens a step. `tests/trials/walk_trials.py` plays many more histories.
"""

from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test
from trials.walk_trials import WalkMachine


def test_no_step_behind_a_gate_is_entered_without_its_pass_or_override():
    run_state_machine_as_test(WalkMachine, settings=settings(max_examples=60, stateful_step_count=40, deadline=None))
