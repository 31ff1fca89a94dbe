"""The procedure language: which keys a procedure may have, and reading a text into a `Procedure`.

Shapes only; what the keys mean together (a step that waits for a later one, a limit of another
dimension, probe points inside a live appliance) is shown by `meterlog.procedure.meaning`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.schema import Key, ListOf, MapOf, Record, Scalar, choice, number, quantity, read_text, yes_no
from meterlog.base.source import text_sha256
from meterlog.base.units import QUANTITIES
from meterlog.judging.limit import MARKS, Rule
from meterlog.procedure import meaning
from meterlog.procedure.cautions import caution_text
from meterlog.procedure.entries import WORDS
from meterlog.procedure.faults import DIAGNOSIS
from meterlog.procedure.kinds import KINDS
from meterlog.procedure.shapes import ENTRY, NAME, SENTENCE, one_line
from meterlog.procedure.written import WrittenKeys

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure


QUANTITY = choice(*QUANTITIES)
ENTRY_KIND = choice(*QUANTITIES, WORDS)
CAUTION = Scalar("a name from the catalogue of cautions, or a sentence", caution_text, {"type": "string"})
INPUT = one_line('the step, the entry or the quantity, such as "winding-cold", "rated voltage" or "234.5 K"')


def _language(value: str) -> int:
    if value != "1":
        raise ValueError("a later meterlog wrote it: this one reads language 1")
    return 1


LANGUAGE = Scalar("1, the only version of the language so far", _language, {"enum": [1, "1"]})

LIMIT = Record(
    "a limit",
    WrittenKeys,
    {
        "is": Key(shape=one_line('a limit such as "at most 0.3 ohm"'), doc="The limit in words.", required=True),
        "source": Key(
            shape=SENTENCE, doc='Where it comes from; "common practice, no source" if need be.', required=True
        ),
        "mark": Key(shape=choice(*MARKS), doc="How that source was seen.", required=True),
        "where": Key(shape=NAME, doc="The jurisdiction it holds in; left out, everywhere.", default=""),
    },
)

SETTLING = Record(
    "settling",
    WrittenKeys,
    {
        "length": Key(
            shape=quantity("second", "3 s", "0.1 s", "3600 s"),
            doc="How long a value stays still before it is believed.",
        ),
        "spread counts": Key(shape=number(), doc="Spread that is still, in counts of the last digit."),
        "spread": Key(
            shape=quantity("dimensionless", "0.5 %", "0 %", "100 %"),
            doc="Spread that is still, as a part of the value.",
        ),
        "slope counts": Key(shape=number(), doc="Drift over the length that is still, in counts."),
        "slope": Key(
            shape=quantity("dimensionless", "0.5 %", "0 %", "100 %"), doc="Drift that is still, as a part of the value."
        ),
    },
)

STEP = Record(
    "a step",
    WrittenKeys,
    {
        "step": Key(shape=NAME, doc="Its name: stable, the record refers to it.", required=True),
        "kind": Key(shape=choice(*KINDS), doc="How the step is answered.", required=True),
        "title": Key(shape=SENTENCE, doc="What is done, in a few words.", required=True),
        "points": Key(shape=ListOf(ENTRY, most=2), doc="Probe points: black lead first, then red.", default=()),
        "reach": Key(shape=SENTENCE, doc="How to get to the points safely.", default=""),
        "quantity": Key(shape=QUANTITY, doc="What is measured.", default=""),
        "mode": Key(shape=choice("ac", "dc", "ac+dc"), doc="AC or DC, where it matters.", default=""),
        "instrument": Key(shape=ENTRY, doc="The instrument's name on the bench; left out, any.", default=""),
        "test voltage": Key(
            shape=quantity("volt", "500 V", "0.1 V", "100 kV"), doc="What the tester applies to the points."
        ),
        "limits": Key(shape=ListOf(LIMIT, least=1), doc="What passes; left out, recorded and not judged.", default=()),
        "cautions": Key(shape=ListOf(CAUTION, least=1), doc="Said and shown before the step.", default=()),
        "energised": Key(shape=yes_no(), doc="Mains is on during the step.", default=False),
        "needs": Key(shape=ListOf(NAME, least=1), doc="Steps that must have passed before.", default=()),
        "needs dead": Key(shape=yes_no(), doc="Waits for the proof of dead; always so for points inside."),
        "fail means": Key(shape=SENTENCE, doc="What a fail usually means.", default=""),
        "hold": Key(shape=quantity("second", "3 s", "0.1 s", "3600 s"), doc="How long an open or dead point is held."),
        "known source": Key(
            shape=quantity("volt", "230 V", "0.1 V", "1000 V"), doc="What the tester is proved on, before and after."
        ),
        "after": Key(
            shape=quantity("second", "60 s", "0.1 s", "86400 s"),
            doc="When the reading is taken, from the start of the test.",
        ),
        "method": Key(shape=ENTRY, doc="The arithmetic from captures to the value that is judged.", default=""),
        "with": Key(shape=MapOf(ENTRY, INPUT), doc="The method's inputs by name.", default={}),
        "settling": Key(shape=SETTLING, doc="This step's own settling; left out, the quantity's."),
        "which counts": Key(shape=choice("last", "first"), doc="Which of several captures counts.", default="last"),
        "rule": Key(shape=choice(*Rule), doc="The decision rule; left out, the procedure's."),
        "note": Key(shape=SENTENCE, doc="What else is worth knowing while measuring.", default=""),
    },
)

POINTS = Record(
    "points",
    WrittenKeys,
    {
        "outside": Key(shape=MapOf(ENTRY, SENTENCE), doc="Points reached with the cabinet closed.", default={}),
        "inside": Key(shape=MapOf(ENTRY, SENTENCE), doc="Points reached only with the cabinet open.", default={}),
    },
)

PROCEDURE = Record(
    "a procedure",
    WrittenKeys,
    {
        "language": Key(shape=LANGUAGE, doc="The version of this language that the file is written in.", default=1),
        "procedure": Key(shape=NAME, doc="Its name; a file carries the same.", required=True),
        "title": Key(shape=SENTENCE, doc="What it is called on screen and in the report.", required=True),
        "appliance": Key(shape=SENTENCE, doc="The type of appliance it is for.", required=True),
        "source": Key(shape=SENTENCE, doc="What it was compiled from.", required=True),
        "cautions": Key(
            shape=ListOf(CAUTION, least=1), doc="Shown first; acknowledged before any step.", required=True
        ),
        "protection class": Key(
            shape=choice("I", "II"), doc="II: no protective conductor is asked for before mains is on.", default="I"
        ),
        "rule": Key(shape=choice(*Rule), doc="The decision rule.", default=Rule.GUARD.value),
        "where": Key(
            shape=MapOf(NAME, SENTENCE), doc="Jurisdictions to choose from: edition and standing.", default={}
        ),
        "plate": Key(shape=MapOf(ENTRY, ENTRY_KIND), doc="What is copied from the rating plate.", default={}),
        "asked": Key(shape=MapOf(ENTRY, ENTRY_KIND), doc="What the person is asked for.", default={}),
        "points": Key(shape=POINTS, doc="Every probe point, and how it is recognised."),
        "steps": Key(shape=ListOf(STEP, least=1), doc="The steps, in order.", required=True),
        "diagnosis": Key(shape=DIAGNOSIS, doc="Faults, what finds them, and what all of it costs."),
    },
)


def read_procedure(source: str, name: str) -> Procedure:
    """The procedure that a new text describes; `name` stands in messages.

    Raises: WrongText with every problem, in file order: first those of shape, when there are none
    those of meaning, and then every way to mains without its proofs.
    """
    return _read(source, name, is_kept=False)


def read_kept_procedure(source: str, name: str) -> Procedure:
    """The procedure of a text on record: read for ever, though a new one must hold more today.

    Raises: WrongText, as for a new one, but for the ways to mains.
    """
    return _read(source, name, is_kept=True)


def _read(source: str, name: str, *, is_kept: bool) -> Procedure:
    written = read_text(PROCEDURE, source, name)
    return meaning.procedure(written, name, text=source, sha256=text_sha256(source), is_kept=is_kept)
