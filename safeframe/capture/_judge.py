"""Judging the frames of a recording one after the other, with the history there is."""

from __future__ import annotations

from typing import NamedTuple

from .._link import Link
from ..frame import Judgement, Session

__all__ = ["Judge", "Opinion"]


class Opinion(NamedTuple):
    """What became of a frame.

    ``result`` is ``accepted``, ``repeat``, ``unknown`` (history is missing), ``rejected``, or
    ``foreign`` (a frame of another connection). ``check`` names what rejected it: a check of the
    profile, ``order`` or ``watchdog``. ``gap_us`` is the time since the last new frame of the side.
    """

    result: str
    check: str = ""
    text: str = ""
    gap_us: int | None = None
    rejoined: bool = False


class Judge:
    """The receivers of both ends, in one.

    A frame that is right but comes after the watchdog has expired is rejected by ``watchdog``.
    After two rejections without an accepted frame between them, of both sides or of one, the
    history is taken for lost, and the stream is joined anew if the frame fits a new beginning.
    """

    def __init__(self, link: Link, *, fresh: bool = False) -> None:
        self._exchange = link
        self._senders = link.senders
        self._watchdog_us = link.watchdog_us
        self._last_us: list[int | None] = [None, None]
        self._failures = [0, 0]
        self._in_a_row = 0
        self._use(link.session(fresh=fresh))

    def _use(self, session: Session) -> None:
        self._session = session

    def judge(self, side: int, octets: bytes, time_us: int | None = None) -> Opinion:
        """Judge the next frame of a side."""
        if self._session.accepts(self._senders[side], octets):
            opinion = _ACCEPTED
        else:
            opinion = self._ask(side, octets)
        if opinion.result == "rejected":
            self._failures[side] += 1
            self._in_a_row += 1
            return opinion
        if opinion.rejoined:
            self._failures = [0, 0]
        if opinion.result == "accepted" or opinion.rejoined:
            self._failures[side] = self._in_a_row = 0
        if opinion.result in ("accepted", "unknown"):
            return self._timed(side, opinion, time_us)
        return opinion

    def _ask(self, side: int, octets: bytes) -> Opinion:
        sender = self._senders[side]
        found = self._opinion(self._session.judge(sender, octets))
        if found.result != "rejected" or not (self._failures[side] or self._in_a_row):
            return found
        joined = self._exchange.session(fresh=False)
        again = joined.judge(sender, octets)
        if again.result == "rejected":
            return found
        self._use(joined)
        return Opinion("unknown", "", f"history lost ({found.text}); {again.text}", None, True)

    def _opinion(self, found: Judgement) -> Opinion:
        if found.result != "rejected":
            return Opinion(found.result, "", found.text)
        failed = [verdict for verdict in found.inspection.verdicts if verdict.result == "failed"]
        check = failed[0].check if failed else "order"
        result = "foreign" if check in self._session.recipe.identity else "rejected"
        text = found.text.removeprefix("rejected: ").removeprefix(f"{check}: ")
        return Opinion(result, check, text)

    def _timed(self, side: int, opinion: Opinion, time_us: int | None) -> Opinion:
        if time_us is None:
            return opinion
        last = self._last_us[side]
        self._last_us[side] = time_us
        if last is None:
            return opinion
        gap_us = time_us - last
        if self._watchdog_us is not None and gap_us > self._watchdog_us:
            allowed = f"watchdog {self._watchdog_us // 1000} ms"
            text = f"{gap_us / 1000:g} ms after the last frame, {allowed}"
            return Opinion("rejected", "watchdog", text, gap_us)
        return opinion._replace(gap_us=gap_us)


_ACCEPTED = Opinion("accepted")
