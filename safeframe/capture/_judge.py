"""Judging the frames of a recording one after the other, with the history there is."""

from __future__ import annotations

from typing import NamedTuple

from .._errors import UsageError
from .._link import Link
from .._words import milliseconds
from ..frame import Judgement, Session
from ..protocols import room
from ..protocols.recording import Step


class Opinion(NamedTuple):
    """What became of a frame.

    ``result`` is ``accepted``, ``repeat``, ``ignored`` (a receiver passes over it), ``unknown``
    (history is missing), ``rejected``, or ``foreign`` (rejected here, and right for another
    connection). ``check`` names what rejected it: a check of the protocol, ``state``, ``order`` or
    ``watchdog``. ``gap_us`` is the time since the last new frame of the side. ``step`` is what an
    accepted frame does to the connection, None where the frame does nothing. ``unproven`` says that
    nothing in the recording can prove the data of a frame whose history is missing.
    """

    result: str
    check: str = ""
    text: str = ""
    gap_us: int | None = None
    rejoined: bool = False
    step: Step | None = None
    unproven: bool = False


_REPEAT = Opinion("repeat")
STEADY = Opinion("accepted", step=Step())
"""The opinion about most frames: accepted, and its data are in use as before."""


class Judge:
    """The receivers of both ends, in one.

    ``gap_us`` is the time between the frame judged last and the new frame of its side before it.

    A frame that is right but comes after the watchdog has expired is rejected by ``watchdog``, an
    answer that its receiver no longer waits for by ``timeout``.
    After two rejections without an accepted frame between them, of both sides or of one, the
    history is taken for lost, and the stream is joined anew if the frame fits a new beginning.
    """

    def __init__(self, link: Link, *, fresh: bool = False) -> None:
        traits = room(link.profile).recording
        if traits is None:
            raise UsageError(f"the profile {link.profile} says nothing about recordings")
        self._link = link
        self._traits = traits
        self._senders = link.senders
        self._watchdog_us = link.watchdog_us
        self._silence = traits.silence
        self._answer = traits.answer_within(link)
        self._last_us: list[int | None] = [None, None]
        self.gap_us: int | None = None
        self._failures = [0, 0]
        self._in_a_row = 0
        self._use(link.session(fresh=fresh))

    def _use(self, session: Session) -> None:
        self._session = session
        self._accepts = session.accepts
        self._follower = self._traits.follower(self._link)
        self._steady = self._follower.steady
        self._last: list[bytes | None] = [None, None]

    def judge(self, side: int, octets: bytes, time_us: int | None = None) -> Opinion:
        """Judge the next frame of a side."""
        last = self._last
        if octets == last[side] and not self._follower.recurs(octets):
            return _REPEAT
        if octets and self._steady(side, octets) and self._accepts(self._senders[side], octets):
            # Most frames of a long recording go this way, unexplained.
            last[side] = octets
            self._failures[side] = self._in_a_row = 0
            before, self._last_us[side] = self._last_us[side], time_us
            if time_us is None or before is None:
                self.gap_us = None  # What lies around a frame without a time is not measured.
                return STEADY
            gap_us = self.gap_us = time_us - before
            if self._watchdog_us is None or gap_us <= self._watchdog_us:
                return STEADY
            return self._late(STEADY, gap_us)
        opinion = self._ask(side, octets, time_us)
        result = opinion.result
        if result == "rejected" and opinion.check == self._silence:
            return self._after_silence(side, octets, opinion, time_us)
        if result == "rejected":
            self._failures[side] += 1
            self._in_a_row += 1
        if result in ("rejected", "foreign", "repeat"):
            return opinion
        is_alone = self._last[1 - side] is None
        self._last[side] = octets
        if result == "ignored":
            return opinion._replace(step=self._follower.pass_over(side, octets, opinion.text))
        if result == "unknown" and is_alone and self._traits.unproven(octets):
            opinion = opinion._replace(unproven=True)
        if opinion.rejoined:
            self._failures = [0, 0]
        if result == "accepted" or opinion.rejoined:
            self._failures[side] = self._in_a_row = 0
        begins = self._follower.begins(octets)
        step = self._follower.follow(side, octets, opinion.text if result == "accepted" else "")
        opinion = opinion._replace(step=step if result == "accepted" else None)
        if not step.heard:
            return opinion
        return self._timed(side, opinion, time_us, begins=begins)

    def heard_us(self, side: int) -> int | None:
        """Return when the last new frame of a side came, from which its watchdog counts."""
        return self._last_us[side]

    def awaits(self) -> str:
        """Return what would have to follow for the last frame to be complete."""
        return self._session.awaits()

    def _after_silence(
        self, side: int, octets: bytes, opinion: Opinion, time_us: int | None
    ) -> Opinion:
        """Take a frame of which the session says that it comes too late: silence, not a fault."""
        self._last[side] = octets
        before, self._last_us[side] = self._last_us[side], time_us
        self.gap_us = None if time_us is None or before is None else time_us - before
        if self.gap_us is not None and self.gap_us > (self._watchdog_us or 0):
            return self._late(opinion, self.gap_us)
        return opinion._replace(check="watchdog", gap_us=self.gap_us)

    def _ask(self, side: int, octets: bytes, time_us: int | None) -> Opinion:
        found = self._opinion(side, octets, self._session, time_us)
        if found.result != "rejected" or not (self._failures[side] or self._in_a_row):
            return found
        if self._traits.parts:
            return found  # Nothing of a history enters such frames, so none can be lost.
        joined = self._link.session(fresh=False)
        again = joined.judge(self._senders[side], octets)
        if again.result == "rejected":
            return found
        self._use(joined)
        return Opinion("unknown", "", f"history lost ({found.text}); {again.text}", None, True)

    def _opinion(self, side: int, octets: bytes, session: Session, time_us: int | None) -> Opinion:
        refused = self._follower.refuse(side, octets)
        if refused is not None:
            return Opinion("rejected", *refused)
        session.at(time_us)
        brief = session.brief(self._senders[side], octets)
        if brief is not None:
            return Opinion(brief[0], "", "" if brief[1] == "accepted" else brief[1])
        found = session.judge(self._senders[side], octets)
        if found.result != "rejected":
            return Opinion(found.result, "", "" if found.text == "accepted" else found.text)
        check, text = _reason(found)
        if self._traits.foreign(self._link, side, octets, session):
            return Opinion("foreign", check, f"right for another connection: {text}")
        return Opinion("rejected", check, text)

    def _timed(self, side: int, opinion: Opinion, time_us: int | None, *, begins: bool) -> Opinion:
        self.gap_us = None
        last, self._last_us[side] = self._last_us[side], time_us
        if time_us is None:
            return opinion
        if last is None:
            return self._answered(side, opinion, time_us)
        gap_us = self.gap_us = time_us - last
        if self._watchdog_us is not None and gap_us > self._watchdog_us and not begins:
            return self._late(opinion, gap_us)
        return self._answered(side, opinion._replace(gap_us=gap_us), time_us)

    def _answered(self, side: int, opinion: Opinion, time_us: int) -> Opinion:
        """Reject an answer that comes later than the end that has asked waits for it."""
        asked_us = self._last_us[1 - side]
        if self._answer is None or self._answer.side != side or asked_us is None:
            return opinion
        taken_us = time_us - asked_us
        if opinion.result != "accepted" or taken_us <= self._answer.within_us:
            return opinion
        waits = f"{self._link.names[1 - side]} waits {milliseconds(self._answer.within_us)}"
        text = f"{milliseconds(taken_us)} after what it answers, {waits}"
        return opinion._replace(result="rejected", check="timeout", text=text)

    def _late(self, opinion: Opinion, gap_us: int) -> Opinion:
        allowed = f"watchdog {(self._watchdog_us or 0) // 1000} ms"
        text = f"{milliseconds(gap_us)} after the last frame, {allowed}"
        return opinion._replace(result="rejected", check="watchdog", text=text, gap_us=gap_us)


def _reason(found: Judgement) -> tuple[str, str]:
    """Return the check that failed first, and why."""
    failed = [verdict for verdict in found.inspection.verdicts if verdict.result == "failed"]
    check = failed[0].check if failed else "order"
    return check, found.text.removeprefix("rejected: ").removeprefix(f"{check}: ")
