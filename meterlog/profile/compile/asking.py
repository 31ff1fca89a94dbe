"""The requests of a profile, and what their answers mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.line import AtBaud
from meterlog.base.source import Problems, near_miss
from meterlog.conversation.poller import PolledRequest
from meterlog.profile.compile.checks import appended
from meterlog.profile.compile.messages import ONLY
from meterlog.profile.language.facts import NO_FACTS, Facts

if TYPE_CHECKING:
    from meterlog.profile.language.keys import ProfileText


def questions_of(
    said: ProfileText, problems: Problems
) -> tuple[tuple[tuple[PolledRequest, ...], tuple[PolledRequest, ...]], dict[int, Facts]]:
    """The requests, start-up first, and what their answers mean; nothing where no request says a thing."""
    if said.ask is None:
        return ((), ()), {}
    names = list(said.messages) or [ONLY]
    made: list[PolledRequest] = []
    for index, request in enumerate([*said.ask.first, *said.ask.requests]):
        data = request.send
        if request.with_check and not said.check:
            request.where.tell(problems, "with check", expected="the key 'check' in the profile", saw="no such key")
        elif request.with_check and said.frame and (said.frame.escape or said.frame.xor or said.frame.in_hex):
            hint = "write all of `send` as it goes over the wire"
            request.where.tell(problems, "with check", expected="frames that are sent as meant", saw="true", hint=hint)
        elif request.with_check:
            data = appended(data, said.checks[0], said.first_byte, _ends_behind_check(said), problems)
        for name in (*request.answer, *([request.until] if request.until else [])):
            if name not in names:
                request.where.tell(
                    problems, "answer", expected="a message of this profile", saw=name, hint=near_miss(name, names)
                )
        if request.baud or request.answer_baud:
            data = AtBaud(data, sent_at=request.baud, answered_at=request.answer_baud)
        pause = said.ask.pause if request.pause is None else request.pause
        echo = request.echo or (data if said.ask.echo else b"")
        made.append(
            PolledRequest(
                index=index,
                data=data,
                answers=request.answer,
                pause=pause,
                means=request.means,
                echo=echo,
                until=request.until,
            )
        )
    facts = {i: r.means for i, r in enumerate([*said.ask.first, *said.ask.requests])}
    count = len(said.ask.first)
    return (tuple(made[:count]), tuple(made[count:])), facts if any(f != NO_FACTS for f in facts.values()) else {}


def _ends_behind_check(said: ProfileText) -> tuple[bytes, ...]:
    """The end marks that stand behind the check: none where bytes stand behind them."""
    return said.frame.end if said.frame and not said.frame.after_end else ()


def restricts(questions: tuple[tuple[PolledRequest, ...], tuple[PolledRequest, ...]]) -> bool:
    return any(question.answers for part in questions for question in part)
