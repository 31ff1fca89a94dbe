"""Profiles proposed for random dialects, beside the truth.

    PYTHONPATH=.:tests/trials python tests/trials/propose_trials.py dialects|strangers [first seed] [how many]

Two generators (`dialects.py`, `strangers.py`) share no code with the product, nor with one another. Right: value,
point, unit and mode equal to the truth; everything else that a proposal reads is wrong.
"""

from __future__ import annotations

import importlib
import random
import sys
import time
from dataclasses import dataclass

from meterlog.base.readings import Frame
from meterlog.base.recording import parse
from meterlog.conversation.drive import drive
from meterlog.profile import compile_profile
from meterlog.profile.propose import parse_shows, propose


@dataclass
class Score:
    right: int
    wrong: int
    frames: int


def events_of(made):
    return parse(recording(made), made.name).events


def recording(made):
    """As the text of a recording."""
    lines = ["meterlog recording 1", "note: invented dialect", ""]
    lines += [f"{t:.3f} {way} {data.hex(' ')}" for t, way, data in made.events]
    return "\n".join(lines) + "\n"


def notes_of(made, count, rng, *, lag=0.05):
    """`count` notes at random frames, as a person with a key for "now" makes them."""
    picked = sorted(rng.sample(range(3, len(made.frames) - 1), count))
    return [(round(made.frames[i][0] + lag, 3), made.frames[i][2].typed()) for i in picked]


def score(made, profile, events):
    """What a proposed profile reads of a stream, beside the truth."""
    if not profile:
        return Score(0, 0, len(made.frames))
    ends, total = [], 0
    for _, data, _ in made.frames:
        total += len(data)
        ends.append(total)
    right = wrong = 0
    for outcome in drive(
        compile_profile(profile, "p.yaml").conversation(), [e for e in events if e.kind in ("in", "out")]
    ):
        if isinstance(outcome, Frame):
            last = outcome.start + len(outcome.raw) - 1
            truth = next(frame[2] for frame, end in zip(made.frames, ends, strict=True) if last < end)
            for reading in outcome.readings:
                right += same(reading, truth)
                wrong += not same(reading, truth)
    return Score(right, wrong, len(made.frames))


def same(reading, truth):
    form = reading.form
    if truth.over:
        return form.bound == "overload"
    return (
        form.bound is None
        and reading.counts == truth.counts
        and form.decimals == truth.decimals
        and form.unit == truth.unit
        and form.mode == truth.mode.lower()
    )


def noted(made, count, seed, *, frames_off=0):
    rng = random.Random(seed)
    times = [frame[0] for frame in made.frames]
    notes = []
    for at, shows in notes_of(made, count, rng):
        index = max(i for i, t in enumerate(times) if t <= at)
        moved = times[min(len(times) - 1, max(0, index + frames_off))]
        notes.append(parse_shows(shows, round(moved + 0.05, 3)))
    return sorted(notes, key=lambda note: note.at)


def with_a_false_one(made, notes, seed):
    """One note replaced by what the display showed at quite another time."""
    rng = random.Random(seed + 1)
    which = rng.randrange(len(notes))
    others = [f[2] for f in made.frames if abs(f[0] - notes[which].at) > 5.0]
    return [*notes[:which], parse_shows(rng.choice(others).typed(), notes[which].at), *notes[which + 1 :]]


def damaged(events, seed):
    """One byte in a hundred turned into another."""
    rng = random.Random(seed + 2)
    out = []
    for event in events:
        data = bytes(b if event.kind != "in" or rng.random() > 0.01 else rng.randrange(256) for b in event.data)
        out.append(type(event)(event.at, event.kind, data))
    return tuple(out)


def asked(made, events, most, seed):
    """Notes asked for one by one where they teach most, up to so many."""
    notes = noted(made, 3, seed)
    proposal = propose(events, notes, "p")
    while len(notes) < most and proposal.ask_at:
        frame = max((f for f in made.frames if f[0] <= proposal.ask_at[0] + 0.03), key=lambda f: f[0])
        note = parse_shows(frame[2].typed(), round(frame[0] + 0.05, 3))
        if note.at in {n.at for n in notes}:
            break
        notes = sorted([*notes, note], key=lambda n: n.at)
        proposal = propose(events, notes, "p")
    return proposal, len(notes)


def cut_as_true(made, proposal):
    return proposal.framing is not None and [f.raw for f in proposal.framing.frames] == [f[1] for f in made.frames]


def trial(made):
    """Everything tried on one dialect, as a mapping of numbers."""
    events, seed, began = events_of(made), int(made.name.rpartition("-")[2]), time.process_time()
    plain = propose(events, (), "p")
    is_text = plain.framing is not None and plain.framing.is_text
    eight = propose(events, noted(made, 8, seed), "p")
    longest = time.process_time() - began
    result = score(made, eight.profile, events)
    whole, used = asked(made, events, 24, seed)
    whole_score = score(made, whole.profile, events)
    wrong = result.wrong + whole_score.wrong
    for off in (2, -2):
        wrong += score(made, propose(events, noted(made, 8, seed, frames_off=off), "p").profile, events).wrong
    false = propose(events, with_a_false_one(made, noted(made, 8, seed), seed), "p")
    hurt = damaged(events, seed)
    bad = propose(hurt, noted(made, 8, seed), "p")
    return {
        "framing": cut_as_true(made, plain),
        "check": (plain.check is not None) == bool(made.check) or (is_text and not made.check),
        "invented": plain.check is not None and not made.check,
        "right8": result.right / result.frames,
        "right24": whole_score.right / whole_score.frames,
        "whole": whole.profile != "" and whole_score.right >= 0.97 * whole_score.frames,
        "notes": used,
        "wrong": wrong,
        "wrong_false": score(made, false.profile, events).wrong,
        "wrong_damaged": score(made, bad.profile, events).wrong,
        "seconds": longest,
        "why": whole.why,
    }


def main(generator, first, count):
    rows = []
    for seed in range(first, first + count):
        made = importlib.import_module(generator).stream(seed)
        rows.append(trial(made))
        if not rows[-1]["whole"] or rows[-1]["wrong"] or not rows[-1]["framing"] or not rows[-1]["check"]:
            row = {key: round(value, 2) if isinstance(value, float) else value for key, value in rows[-1].items()}
            print(made.name, made.framing, made.check or "no check", made.features, row, file=sys.stderr)

    def total(name):
        return sum(row[name] for row in rows)

    print(f"| {count} {generator}, seeds {first} to {first + count - 1} | |\n|---|--:|")
    print(f"| framing right | {total('framing')} |")
    print(f"| check right; invented | {total('check')}; {total('invented')} |")
    print(f"| framing and check right | {sum(row['framing'] and row['check'] for row in rows)} |")
    print(f"| right with 8 notes at random moments | {100 * total('right8') / count:.0f} % |")
    print(
        f"| whole with at most 24 notes, asked for | {total('whole')}, {total('notes') / count:.0f} notes on average |"
    )
    print(f"| wrong: these, and notes off by two frames | {total('wrong')} |")
    print(f"| wrong with one false note of eight | {total('wrong_false')} |")
    print(f"| wrong, from a stream with one byte in a hundred damaged | {total('wrong_damaged')} |")
    print(f"| longest, s | {max(row['seconds'] for row in rows):.1f} |")


if __name__ == "__main__":
    main(sys.argv[1], *(int(word) for word in [*sys.argv[2:], "1000", "30"][:2]))
