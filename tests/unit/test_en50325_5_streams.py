"""EN 50325-5: sessions, links, faulty sequences and times of one data object."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import fixtures, frame
from safeframe._errors import UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection
from safeframe._timing import timing
from safeframe.capture import Judge
from safeframe.protocols import en50325_5, room
from tests import second
from tests.unit.links import ONE_WAY, end_with, make

NAME = "en50325-5"


def messages(data: bytes, first: int = 0x111) -> tuple[bytes, bytes]:
    """Return both messages by the second recipe."""
    pair = second.pair_en(data, first, first + 1)
    return pair[: len(pair) // 2], pair[len(pair) // 2 :]


PLAIN, INVERTED = messages(b"\x34\x12")
OTHER_PLAIN, OTHER_INVERTED = messages(b"\x35\x12")


class Receiver:
    """A session that hears messages with their times, and keeps what it says."""

    def __init__(self, **settings: Any) -> None:
        known = {"identifier_1": 0x111, "mapped_octets": 2, "sct_ms": 50, "srvt_ms": 20}
        self.session = frame.session(NAME, **known | settings)

    def hear(self, octets: bytes, time_us: int | None = None) -> tuple[str, str]:
        self.session.at(time_us)
        found = self.session.judge("sender", octets)
        return found.result, found.text


class TestSession:
    @given(st.lists(st.binary(max_size=8), min_size=1, max_size=4))
    def test_what_it_sends_is_the_second_recipe_and_is_accepted(self, rows: list[bytes]) -> None:
        sender = en50325_5.session(identifier_1=0x17F)
        for data in rows:
            receiver = en50325_5.session(identifier_1=0x17F, mapped_octets=len(data))
            sent = sender.produce("sender", data=data), sender.produce("sender", data=data)
            assert sent == messages(data, 0x17F)
            assert receiver.judge("sender", sent[0]).text == (
                "the plain message waits for its inverted one"
            )
            assert receiver.awaits() == "the plain message waits for its inverted one"
            found = receiver.judge("sender", sent[1])
            assert (found.result, found.inspection.values["data"]) == ("accepted", data)
            assert receiver.awaits() == ""

    def test_the_inverted_message_follows_without_being_told_the_data_again(self) -> None:
        sender = en50325_5.session(identifier_1=0x111)
        assert sender.produce("sender", data=b"\x34\x12") == PLAIN
        assert sender.produce("sender") == INVERTED
        sender.produce("sender", data=b"\x34\x12")
        with pytest.raises(UsageError, match=r"^both messages of a pair must have the same data$"):
            sender.produce("sender", data=b"\x35\x12")

    def test_the_same_octets_are_a_new_pair(self) -> None:
        receiver = Receiver()
        for _ in range(3):
            assert receiver.hear(PLAIN)[0] == receiver.hear(INVERTED)[0] == "accepted"

    @pytest.mark.parametrize(
        ("heard", "said"),
        [
            # Not inverted: the pair is over, its inverted message stands alone.
            ([PLAIN, OTHER_INVERTED, INVERTED], "accepted rejected ignored"),
            # A second plain message replaces the first.
            ([PLAIN, OTHER_PLAIN, OTHER_INVERTED], "accepted accepted accepted"),
            ([PLAIN, OTHER_PLAIN, INVERTED], "accepted accepted rejected"),
            ([PLAIN, PLAIN, INVERTED], "accepted accepted accepted"),
            # The wrong order, twice the same.
            ([INVERTED, PLAIN], "ignored accepted"),
            ([PLAIN, INVERTED, INVERTED], "accepted accepted ignored"),
            # Too short, too long; what is longer on one side only, too.
            ([messages(b"4")[0], INVERTED], "rejected ignored"),
            ([PLAIN, messages(b"4")[1]], "accepted rejected"),
            (list(messages(b"\x34\x12\x99")), "accepted accepted"),
            ([PLAIN, messages(b"\x34\x12\x99")[1]], "accepted accepted"),
            ([messages(b"\x34\x12\x99")[0], INVERTED], "accepted accepted"),
            # Identifiers of others change nothing of the pair.
            (
                [PLAIN, *messages(b"\x34\x12", 0x113), INVERTED],
                "accepted rejected rejected accepted",
            ),
            ([PLAIN, b"\x01\x12", INVERTED], "accepted rejected accepted"),
            # A plain message that is too short replaces, too.
            ([PLAIN, messages(b"4")[0], INVERTED], "accepted rejected ignored"),
            # A pair in one piece.
            ([PLAIN + INVERTED, PLAIN + OTHER_INVERTED], "accepted rejected"),
            ([PLAIN, PLAIN + INVERTED, INVERTED], "accepted accepted ignored"),
            ([PLAIN, second.pair_en(b"ab", 0x113, 0x114), INVERTED], "accepted rejected accepted"),
        ],
    )
    def test_states(self, heard: list[bytes], said: str) -> None:
        receiver = Receiver()
        assert " ".join(receiver.hear(octets)[0] for octets in heard) == said

    def test_words(self) -> None:
        receiver = Receiver()
        assert receiver.hear(INVERTED) == (
            "ignored",
            "an inverted message without a plain one before it",
        )
        receiver.hear(PLAIN)
        assert receiver.hear(OTHER_PLAIN) == (
            "accepted",
            "replaces a plain message whose inverted one has not come",
        )
        assert receiver.hear(INVERTED) == (
            "rejected",
            "rejected: inverted: octet 0 is 0x35, its copy 0xCB and not 0xCA",
        )

    def test_in_the_middle_an_inverted_message_may_come_first(self) -> None:
        receiver = Receiver(fresh=False)
        assert receiver.hear(INVERTED, 0) == (
            "unknown",
            "an inverted message, whose plain one lies before the recording",
        )
        assert receiver.hear(INVERTED)[0] == "ignored"
        assert Receiver(fresh=False).hear(messages(b"4")[1])[0] == "rejected"
        begun = Receiver(fresh=False)
        begun.hear(PLAIN + INVERTED)
        assert begun.hear(INVERTED)[0] == "ignored"

    def test_the_refresh_time_runs_from_a_first_inverted_message(self) -> None:
        receiver = Receiver(fresh=False)
        receiver.hear(INVERTED, 0)
        receiver.hear(PLAIN, 49_000)
        assert receiver.hear(INVERTED, 50_001)[1].startswith("rejected: sct: ")

    @pytest.mark.parametrize(
        ("times_us", "result"),
        [
            ((0, 20_000), "accepted"),
            ((0, 20_001), "rejected: srvt: the time between the two messages took 21 ms, 20 ms "),
            ((5, 4), "accepted"),
            ((50_000, 10_000), "accepted"),
        ],
    )
    def test_validation_time(self, times_us: tuple[int, int], result: str) -> None:
        receiver = Receiver()
        receiver.hear(PLAIN, times_us[0])
        assert receiver.hear(INVERTED, times_us[1])[1].startswith(result)

    @pytest.mark.parametrize(
        ("times_us", "late"),
        [
            # Both the first and the second messages of two pairs are held to it.
            ((0, 10, 50_000, 50_010), False),
            ((0, 1000, 50_001, 50_500), True),
            ((0, 1000, 49_000, 51_001), True),
            ((0, 1000, 49_000, 51_000), False),
        ],
    )
    def test_refresh_time(self, times_us: tuple[int, int, int, int], late: bool) -> None:
        receiver = Receiver()
        heard = zip((PLAIN, INVERTED, PLAIN, INVERTED), times_us, strict=True)
        said = [receiver.hear(octets, time_us)[1] for octets, time_us in heard]
        text = "rejected: sct: the time since the pair before took 51 ms, 50 ms are allowed"
        assert said[3] == (text if late else "accepted")
        # A late pair is a pair: the time runs from it.
        receiver.hear(PLAIN, 99_000)
        assert receiver.hear(INVERTED, 99_900)[0] == "accepted"

    def test_a_wrong_pair_does_not_refresh(self) -> None:
        receiver = Receiver()
        for octets, time_us in (
            (PLAIN, 0),
            (INVERTED, 1),
            (PLAIN, 30_000),
            (OTHER_INVERTED, 30_001),
        ):
            receiver.hear(octets, time_us)
        receiver.hear(PLAIN, 60_000)
        assert receiver.hear(INVERTED, 60_001)[1].startswith("rejected: sct: ")

    def test_times_that_nobody_gave_are_not_judged(self) -> None:
        receiver = Receiver(sct_ms=None, srvt_ms=None)
        for time_us in (0, 10**9):
            receiver.hear(PLAIN, time_us)
            assert receiver.hear(INVERTED, time_us + 10**6)[0] == "accepted"
        receiver = Receiver()
        receiver.hear(PLAIN)
        assert receiver.hear(INVERTED, 10**9)[0] == "accepted"

    @given(data=st.data(), limits=st.booleans(), fresh=st.booleans())
    def test_the_short_way_says_what_the_long_one_says(
        self, data: st.DataObject, limits: bool, fresh: bool
    ) -> None:
        """What ``brief`` says MUST be what ``judge`` says, and leave the session alike."""
        known = {} if limits else {"sct_ms": None, "srvt_ms": None}
        short, long_ = Receiver(fresh=fresh, **known), Receiver(fresh=fresh, **known)
        choices = st.sampled_from(
            (PLAIN, INVERTED, OTHER_PLAIN, OTHER_INVERTED, *messages(b"4"), *messages(b"abc"))
        )
        time_us = 0
        for octets in data.draw(st.lists(choices, max_size=12)):
            time_us += data.draw(st.sampled_from((0, 1, 19_999, 20_000, 20_001, 30_000, 50_001)))
            now = data.draw(st.sampled_from((time_us, time_us, time_us, None)))
            said = long_.hear(octets, now)
            short.session.at(now)
            brief = short.session.brief("sender", octets)
            if brief is None:
                brief = short.hear(octets, now)
            assert brief == said
            assert short.session.awaits() == long_.session.awaits()

    def test_the_short_way_is_taken(self) -> None:
        session = Receiver().session
        assert session.brief("sender", PLAIN) == (
            "accepted",
            "the plain message waits for its inverted one",
        )
        assert session.brief("receiver", INVERTED) is None
        assert session.brief("sender", INVERTED) == ("accepted", "accepted")
        assert session.brief("sender", INVERTED) is None
        assert Receiver(mapped_octets=None).session.brief("sender", PLAIN) is None
        # Up to the last microsecond of the validation time, too.
        session = Receiver().session
        for octets, time_us in ((PLAIN, 0), (INVERTED, 20_000)):
            session.at(time_us)
            assert session.brief("sender", octets) is not None

    def test_the_receiver_sends_nothing(self) -> None:
        session = Receiver().session
        text = "the receiver of a data object sends nothing back"
        found = session.judge("receiver", PLAIN)
        assert (found.result, found.text) == ("rejected", text)
        with pytest.raises(UsageError, match=text):
            session.produce("receiver", data=b"")
        with pytest.raises(UsageError, match="a sender must be sender or receiver, not 'host'"):
            session.produce("host", data=b"")

    @pytest.mark.parametrize("first", [0x100, 0x112, 0x181])
    def test_an_illegal_identifier(self, first: int) -> None:
        with pytest.raises(UsageError, match="the first identifier must be odd, 0x101"):
            frame.session(NAME, identifier_1=first)


def changed(link: Link, side: int, **parameters: Any) -> Connection:
    """Return the connection with other parameters at an end; None takes one away."""
    ends = list(link.connection.ends)
    stated = {**dict(ends[side].parameters), **parameters}
    kept = tuple((name, value) for name, value in stated.items() if value is not None)
    ends[side] = dataclasses.replace(ends[side], parameters=kept)
    return Connection(first=ends[0], second=ends[1])


class TestLink:
    def test_one_end_sends(self) -> None:
        for case, order in zip(ONE_WAY, ((0,), (1,)), strict=True):
            link = make(*case)
            assert (link.order, link.carries) == (order, (order == (0,), order == (1,)))
            assert link.sizes == (6 if order == (0,) else 0, 0 if order == (0,) else 11)
            assert (link.tick_us, link.watchdog_us, link.spacing_us) == (12_000, 100_000, (0, 1000))
            assert link.settings == {
                "identifier_1": 0x111,
                "mapped_octets": 3 if order == (0,) else 8,
                "srvt_ms": 20,
                "sct_ms": 100,
            }

    @pytest.mark.parametrize(
        ("first", "other", "text"),
        [
            (2, 2, "SC1-LX must have one end that sends, because .*: SC1 and LX both send$"),
            (0, 0, "SC1-LX must have one end that sends, because .*: SC1 and LX send nothing$"),
        ],
    )
    def test_a_data_object_has_one_direction(self, first: int, other: int, text: str) -> None:
        with pytest.raises(UsageError, match=text):
            make(NAME, first, other, {})

    def test_identifiers_follow_from_the_node_of_the_sender(self) -> None:
        link = make(*ONE_WAY[0])
        none: dict[str, Any] = {"identifier_1": None, "identifier_2": None}
        bare = changed(link_of(changed(link, 0, **none)), 1, **none)
        # Address 0x23 of the sender.
        assert link_of(bare).settings["identifier_1"] == 0xFF + 2 * 0x23
        assert link_of(bare, identifier_1=0x105).settings["identifier_1"] == 0x105
        lost = dataclasses.replace(bare.first, address=None)
        with pytest.raises(UsageError, match="SC1 must state the parameter identifier_1, or its"):
            link_of(Connection(first=lost, second=bare.second))

    def test_one_map_states_its_identifiers_or_the_node_of_the_sender(self) -> None:
        link = make(*ONE_WAY[0])
        traits = room(NAME).link
        assert traits is not None
        stated = traits.stated
        assert stated(link.connection.first) == {"identifier_1": 0x111, "identifier_2": 0x112}
        none: dict[str, Any] = {"identifier_1": None, "identifier_2": None}
        assert stated(changed(link, 0, **none).first) == {"node": 0x23}
        assert stated(changed(link, 1, **none).second) == {}

    def test_the_second_identifier_tells_the_first(self) -> None:
        link = make(*ONE_WAY[0])
        bare = changed(link_of(changed(link, 0, identifier_1=None)), 1, identifier_1=None)
        assert link_of(bare).settings["identifier_1"] == 0x111

    @pytest.mark.parametrize(
        ("change", "text"),
        [
            ({"identifier_1": 0x113}, r"both ends must state the same identifier_1, but SC1 \("),
            ({"srvt_ms": 21}, r"both ends must state the same srvt_ms, but SC1 \("),
        ],
    )
    def test_ends_that_contradict_each_other(self, change: dict[str, Any], text: str) -> None:
        with pytest.raises(UsageError, match=text):
            link_of(changed(make(*ONE_WAY[0]), 1, **change))

    def test_identifiers_that_are_no_pair(self) -> None:
        link = make(*ONE_WAY[0])
        one = changed(link_of(changed(link, 0, identifier_2=None)), 1, identifier_2=None)
        one = dataclasses.replace(
            one, first=dataclasses.replace(one.first, parameters=(("identifier_1", 0x111),))
        )
        wrong = dataclasses.replace(
            one.second,
            parameters=(("identifier_2", 0x114), ("sct_ms", 100), ("srvt_ms", 20)),
        )
        with pytest.raises(UsageError, match="the second identifier must be 0x112, one more"):
            link_of(Connection(first=one.first, second=wrong))

    def test_the_validation_time_must_be_known(self) -> None:
        link = make(*ONE_WAY[0])
        ends = changed(link, 0, srvt_ms=None).first, changed(link, 1, srvt_ms=None).second
        bare = Connection(first=ends[0], second=ends[1])
        with pytest.raises(UsageError, match="SC1 must state the parameter srvt_ms for frames"):
            link_of(bare)
        assert link_of(bare, srvt_ms=0).spacing_us == (0, 0)

    def test_the_watchdog_is_the_refresh_time_of_the_receiver(self) -> None:
        link = make(*ONE_WAY[0])
        with pytest.raises(
            UsageError, match=r"LX \(.*\) must state one time, not sct_ms 50 and wa"
        ):
            link_of(changed(link, 1, sct_ms=50))
        assert link_of(changed(link, 1, sct_ms=None)).watchdog_us == 100_000
        assert link_of(link.connection, sct_ms=70).watchdog_us == 70_000
        second_end = end_with(changed(link, 1, sct_ms=50).second, watchdog_ms=None)
        assert (
            link_of(Connection(first=link.connection.first, second=second_end)).watchdog_us
            == 50_000
        )

    def test_without_an_exchange_time_the_sender_repeats_within_its_refresh_time(self) -> None:
        link = make(*ONE_WAY[0])
        ends = [end_with(end, exchange_ms=None) for end in link.connection.ends]
        found = link_of(Connection(first=ends[0], second=ends[1]))
        assert found.tick_us == 100_000
        bare = changed(found, 0, sct_ms=None)
        assert link_of(bare).tick_us == 10_000

    @pytest.mark.parametrize("side", [0, 1])
    @pytest.mark.parametrize(
        ("name", "value", "text"),
        [
            ("srvt_ms", "x", "srvt_ms must be an integer, not 'x'"),
            ("srvt_ms", 300, "srvt_ms must be 0..255, not 300"),
            ("srvt_ms", 1.5, "srvt_ms must be an integer, not 1.5"),
            ("srvt_ms", True, "srvt_ms must be an integer, not True"),
            ("sct_ms", "x", "sct_ms must be an integer, not 'x'"),
            ("sct_ms", -5, "sct_ms must be 0..65535, not -5"),
            ("sct_ms", 70_000, "sct_ms must be 0..65535, not 70000"),
            ("identifier_1", "0x111", "identifier_1 must be an integer, not '0x111'"),
            ("identifier_1", 0x900, "identifier_1 must be 0..2047, not 2304"),
            ("identifier_2", 2.5, "identifier_2 must be an integer, not 2.5"),
        ],
    )
    def test_a_map_may_hold_what_is_no_such_number(
        self, name: str, value: Any, text: str, side: int
    ) -> None:
        """Maps hold wrong values; frames are then refused with words, by maps and by name."""
        link = make(*ONE_WAY[0])
        ends = [
            end_with(
                changed(link, at, **{name: value}).ends[at], watchdog_ms=None, exchange_ms=None
            )
            for at in (0, 1)
        ]
        wrong = Connection(first=ends[0], second=ends[1])
        with pytest.raises(UsageError) as caught:
            link_of(wrong)
        if "integer" in text:
            expected = f"must state the parameter {name} as an integer, not {value!r}"
            assert str(caught.value).endswith(expected)
        else:
            assert str(caught.value) == text
        if name != "identifier_2":
            with pytest.raises(UsageError) as caught:
                link_of(link.connection, **{name: value})
            assert str(caught.value) == text
        if name.startswith("identifier"):
            traits = room(NAME).link
            assert traits is not None
            with pytest.raises(UsageError) as caught:
                traits.stated(wrong.ends[side])
            assert str(caught.value) == text

    def test_no_time_at_all(self) -> None:
        link = make(*ONE_WAY[0])
        ends = [
            end_with(changed(link, side, sct_ms=None).ends[side], watchdog_ms=None)
            for side in (0, 1)
        ]
        found = link_of(Connection(first=ends[0], second=ends[1]))
        assert found.watchdog_us is None
        text = "^SC1-LX must state watchdog_ms for faults in time$"
        with pytest.raises(UsageError, match=text):
            fixtures.make(found, "faults")


EXPECTED = {
    "corruption": ("corruption", "inverted", "the check inverted"),
    "corrupted-bits": ("corruption", "inverted", "the check inverted"),
    "corrupted-copy": ("corruption", "inverted", "the check inverted"),
    "not-inverted": ("corruption", "inverted", "the check inverted"),
    "corrupted-identifier": ("corruption", "identifier_1", "the identifiers of the pair"),
    "corrupted-identifier-copy": ("corruption", "identifier_2", "the identifiers of the pair"),
    "unintended-repetition": ("unintended repetition", "", "nothing: a pair carries no number"),
    "duplicate-plain": ("unintended repetition", "", "nothing: a pair carries no number"),
    "duplicate-inverted": ("unintended repetition", "", "the order of the messages"),
    "incorrect-sequence": ("incorrect sequence", "watchdog", "time expectation: no pair within"),
    "loss": ("loss", "watchdog", "time expectation: no pair within the refresh time (SCT)"),
    "loss-plain": ("loss", "watchdog", "time expectation: no pair within the refresh time (SCT)"),
    "loss-inverted": ("loss", "watchdog", "time expectation: no pair within the refresh time"),
    "unacceptable-delay-inverted": ("unacceptable delay", "srvt", "time expectation: no inverted"),
    "unacceptable-delay": ("unacceptable delay", "watchdog", "time expectation: no pair within"),
    "insertion": ("insertion", "identifier_1", "the identifiers of the pair"),
    "masquerade": ("masquerade", "", "nothing: a pair carries no number and nothing of its"),
    "addressing": ("addressing", "identifier_1", "the identifiers of the pair"),
    "too-short": ("corruption", "too_short", "the check too_short"),
    "too-short-inverted": ("corruption", "too_short", "the check too_short"),
    "longer": ("corruption", "", "nothing: a receiver passes over what it does not map"),
}
"""Each sequence with its error, the check that says so first, and what catches it."""


class TestFaults:
    @pytest.mark.parametrize("seed", [0, 1, 7])
    @pytest.mark.parametrize("case", ONE_WAY, ids=str)
    def test_the_receiver_says_what_they_state(
        self, case: tuple[str, int, int, dict[str, Any]], seed: int
    ) -> None:
        link = make(*case)
        results = {"accept": "accepted", "repeat": "ignored", "undetected": "accepted"}
        seen = set()
        for each in (
            made
            for kind in ("identification", "walking-one", "states", "faults", "undetected")
            for made in fixtures.make(link, kind, seed=seed, count=30)
        ):
            judge = Judge(link, fresh=True)
            for step in each.steps:
                found = judge.judge(step.side, step.octets, step.time_us)
                assert found.result == results.get(step.verdict, "rejected"), (each.label, step)
                assert found.check == step.check, (each.label, step)
                assert bool(step.change) or step.verdict == "accept"
            seen.add(each.label)
        assert len(seen) == 5 + len(EXPECTED) - (case[1] == 0)

    def test_every_error_is_there(self) -> None:
        made = fixtures.make(make(*ONE_WAY[0]), "faults", seed=3)
        assert [each.label for each in made] == [f"fault-{name}" for name in EXPECTED]
        for each, (error, check, measure) in zip(made, EXPECTED.values(), strict=True):
            assert each.fault == error
            assert each.measure.startswith(measure)
            rejected = [step.check for step in each.steps if step.verdict == "reject"]
            assert rejected[:1] == ([check] if check else []), each.label
            times = [step.time_us for step in each.steps]
            assert times == sorted(times), each.label
        assert {each.fault for each in made} == set(fixtures.ERRORS)

    def test_what_comes_again_and_what_comes_early(self) -> None:
        link = make(*ONE_WAY[0])
        made = {each.label: each.steps for each in fixtures.make(link, "faults", seed=3)}
        steps = made["fault-unintended-repetition"]
        plain, inverted = steps[-2:]
        pairs = [steps[at : at + 2] for at in range(0, len(steps) - 2, 2)]
        (one,) = [pair for pair in pairs if pair[0].octets == plain.octets]
        assert one[1].octets == inverted.octets
        assert inverted.time_us - plain.time_us == one[1].time_us - one[0].time_us
        assert plain.time_us - pairs[-1][0].time_us == link.tick_us
        early = [
            step
            for step in made["fault-incorrect-sequence"]
            if step.change == "the inverted message comes before the plain one"
        ]
        assert [step.verdict for step in early] == ["repeat", "accept"]
        assert early[0].time_us < early[1].time_us
        second, first = (int.from_bytes(step.octets[:2], "big") for step in early)
        assert second == first + 1

    @pytest.mark.parametrize("label", ["loss", "loss-plain", "loss-inverted"])
    def test_around_what_is_lost_the_legal_run_goes_on(self, label: str) -> None:
        """The pair that is too late is the first one of the run that is, at its own time."""
        link = make(*ONE_WAY[0])
        (run,) = fixtures.make(link, "states", seed=3, count=40)
        legal = [(step.time_us, step.octets) for step in run.steps]
        (made,) = [
            each for each in fixtures.make(link, "faults", seed=3) if each.label == f"fault-{label}"
        ]
        steps = [(step.time_us, step.octets) for step in made.steps]
        late = next(at for at in range(8, 80, 2) if legal[at][0] - legal[6][0] > 100_000)
        lost = {"loss": [], "loss-plain": legal[9:late:2], "loss-inverted": legal[8:late:2]}
        assert steps == [*legal[:8], *lost[label], *legal[late : late + 2]]

    def test_the_last_data_object_has_a_neighbour_within_the_range(self) -> None:
        link = link_of(make(*ONE_WAY[0]).connection, identifier_1=0x17F)
        made = {each.label: each for each in fixtures.make(link, "faults")}
        assert made["fault-addressing"].steps[-2].octets[:2] == b"\x01\x01"

    @pytest.mark.parametrize("first", [0x101, 0x103, 0x13F, 0x17D, 0x17F])
    def test_what_a_receiver_names_first_at_the_borders_of_the_range(self, first: int) -> None:
        """An inverted bit may lead to an identifier out of the range, which is named first."""
        link = link_of(make(*ONE_WAY[0]).connection, identifier_1=first)
        for each in fixtures.make(link, "faults"):
            if "identifier" in each.label:
                judge = Judge(link, fresh=True)
                found = [judge.judge(step.side, step.octets, step.time_us) for step in each.steps]
                assert [opinion.check for opinion in found] == [step.check for step in each.steps]
        wrong = {each.label: each.steps for each in fixtures.make(link, "faults")}
        copy = wrong["fault-corrupted-identifier-copy"][-1]
        legal = 0x102 <= int.from_bytes(copy.octets[:2], "big") <= 0x180
        assert legal == (first not in (0x101, 0x17F))
        assert copy.check == ("identifier_2" if legal else "identifiers")

    def test_without_data_there_is_nothing_to_invert(self) -> None:
        """An empty map that is said to be sent has no sender; one octet is the least."""
        link = make(NAME, 1, 0, {})
        labels = {each.label for each in fixtures.make(link, "faults")}
        assert "fault-corrupted-bits" in labels

    def test_what_nobody_sees_is_the_same_bit_in_both_messages(self) -> None:
        lightest, shortest = fixtures.make(make(*ONE_WAY[0]), "undetected")
        for each in (lightest, shortest):
            assert [step.verdict for step in each.steps] == ["accept"] * 4 + ["undetected"] * 2
            assert each.steps[-1].change.startswith("2 bits within 49 inverted: XOR with 00 00 00")

    def test_no_start_up(self) -> None:
        with pytest.raises(UsageError, match="a start-up of en50325-5 is not offered"):
            fixtures.make(make(*ONE_WAY[0]), "start-up")


class TestTimes:
    @pytest.mark.parametrize("case", ONE_WAY, ids=str)
    def test_the_sum_is_refresh_and_validation_time(
        self, case: tuple[str, int, int, dict[str, Any]]
    ) -> None:
        link = make(*case)
        found = timing(link.connection)
        name = link.names[1 - link.order[0]]
        assert found.reaction.formula == (
            f"refresh time (SCT) of {name} (100 ms) + validation time (SRVT) (20 ms)"
        )
        assert found.reaction.known_ms == 120
        assert found.reaction.source == "computed from the two times (S M1)"
        assert (found.watchdog_ms, found.exchange_ms, found.spare_ms) == (100, 12, 88)

    def test_what_the_maps_leave_out_is_missing(self) -> None:
        link = make(*ONE_WAY[0])
        ends = [
            end_with(dataclasses.replace(end, parameters=()), watchdog_ms=None, exchange_ms=None)
            for end in link.connection.ends
        ]
        found = timing(Connection(first=ends[0], second=ends[1]))
        assert found.reaction.missing == ("refresh time (SCT) of LX", "validation time (SRVT)")
        assert (found.watchdog_ms, found.exchange_ms) == (None, None)

    def test_the_refresh_time_of_the_sender_is_its_cycle(self) -> None:
        link = make(*ONE_WAY[0])
        ends = [end_with(end, exchange_ms=None) for end in link.connection.ends]
        both = dataclasses.replace(link, connection=Connection(first=ends[0], second=ends[1]))
        found = timing(changed(both, 0, sct_ms=40))
        assert (found.watchdog_ms, found.exchange_ms) == (100, 40)
