"""The kinds of acts and changes of state that are kept, each under its one name."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from meterlog.walk import happenings as walk

if TYPE_CHECKING:
    from meterlog.walk.happenings import Happening


class ActKind(StrEnum):
    """What an act or a change of state is called in the record. A name, once kept, is never renamed."""

    # the job
    JOB_OPENED = "job opened"
    JOB_RESUMED = "job resumed"
    JOB_LAID_ASIDE = "job laid aside"
    JOB_TAKEN_UP = "job taken up"
    JOB_CLOSED = "job closed"
    ENTRIES = "entries"
    PART_FITTED = "part fitted"
    WORK_DONE = "work done"
    PHOTOGRAPH = "photograph"
    ERASED = "erased"
    SUGGESTED = "suggested"
    CONCLUDED_AGAIN = "concluded again"
    READ_AGAIN = "read again"
    # the bench and its record
    KEY_REPLACED = "key replaced"
    RECORD_RESTORED = "record restored"
    RECORD_UPGRADED = "record upgraded"
    PERSONAL_FIELDS = "personal fields"
    LINE_ERRORS = "line errors"
    SET_ASIDE = "set aside"
    CLOCK_STEPPED = "clock stepped"
    STORE_REFUSED = "store refused"
    # the walk
    STEP_BEGAN = "step began"
    ACKNOWLEDGED = "acknowledged"
    WAITING = "waiting"
    PROOFS_ENDED = "proofs ended"
    REOPENED = "reopened"
    OVERRODE = "overrode"
    READING_TYPED = "reading typed"
    TIMED = "timed"
    STARTED = "started"
    PROOF = "proof"
    WRONG_FUNCTION = "wrong function"
    NOT_TAKEN = "not taken"
    CONTACT_SAID = "contact said"
    ADVISED = "advised"
    LIVE_POINT = "live point"
    FROZEN = "frozen"
    LIFTED = "lifted"
    PASSED = "passed"
    NOTED = "noted"
    REFUSED = "refused"
    JOB_DONE = "job done"


LINK = "link {state}"
"""A link's change of state: "link open", "link lost" and so on."""
PERSON = "act {word}"
"""What a person asked of the walk, by the word of the act: "act next", "act skip" and so on."""

HAPPENINGS: dict[type[Happening], ActKind] = {
    walk.StepBegan: ActKind.STEP_BEGAN,
    walk.Acknowledged: ActKind.ACKNOWLEDGED,
    walk.Waiting: ActKind.WAITING,
    walk.ProofsEnded: ActKind.PROOFS_ENDED,
    walk.Reopened: ActKind.REOPENED,
    walk.Overrode: ActKind.OVERRODE,
    walk.ReadingTyped: ActKind.READING_TYPED,
    walk.Timed: ActKind.TIMED,
    walk.Started: ActKind.STARTED,
    walk.Proof: ActKind.PROOF,
    walk.WrongFunction: ActKind.WRONG_FUNCTION,
    walk.NotTaken: ActKind.NOT_TAKEN,
    walk.ContactSaid: ActKind.CONTACT_SAID,
    walk.Advised: ActKind.ADVISED,
    walk.LivePoint: ActKind.LIVE_POINT,
    walk.Frozen: ActKind.FROZEN,
    walk.Lifted: ActKind.LIFTED,
    walk.Passed: ActKind.PASSED,
    walk.Noted: ActKind.NOTED,
    walk.Refused: ActKind.REFUSED,
    walk.JobDone: ActKind.JOB_DONE,
}
"""What each happening of a walk is kept as. A capture is a row of its own, an act `PERSON`."""
