"""Edits of both ends: what each does to the text, and what is refused with which numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from safeframe import _demo as demo
from safeframe._bits import Place
from safeframe._errors import InputError, UsageError
from safeframe._mapfile import dumps, loads
from safeframe.edit import (
    Bind,
    Declare,
    Edit,
    Insert,
    MapText,
    Move,
    Operation,
    Remove,
    Rename,
    Resize,
    edit,
)
from safeframe.edit._apply import unified_patch

HEAD = 'format = "safeframe-map/1" # 1\r\nconnection={name="SC1-LX",profile="plain"}\r\n'
SC1 = (
    HEAD
    + """end = { name = "SC1", peer = "LX" }\r
sends = [ # what SC1 sends\r
  # permits\r
  { at = '0.0', name = "permit", bind = "a" }, # first\r
  { at = '0.1', reserved = 0x07 }, # spare\r
  { at = "1.0", name = "level", width = 2, valid_by = "permit", bind = "b" },\r
  { at = "1.2", reserved = 2, note = "for the second axis" },\r
  { at = "1.4", name = "up", bind = "c" },\r
  { at = "1.5", reserved = 3 },\r
  { at = "2.0", reserved = 8, value = 1 },\r
]\r
receives = [ { at = "0.0", name = "state", mirrors = "permit" }, { at = "0.1", reserved = 7 } ]\r
allow = [ { rule = "hole", signal = "permit", reason = "r" } ]\r
relations = [\r
  { name = "a", when = { permit = 1 }, requires = { "sends.permit" = 1 }, reason = "r" },\r
  { name = "b", when = { sends.permit = 1, up = 1 }, excludes = { level = 1 }, reason = "r" },\r
]\r
"""
)
LX = """format = "safeframe-map/1"
[connection]
name = "SC1-LX"
profile = "plain"
[end]
name = "LX"
peer = "SC1"

[[receives]] # the permit
at = "0.0"
name = "permit"
bind = "A"

[[receives]]
at = "0.1"
reserved = 3

[[receives]]
at = "0.4"
reserved = 4

[[receives]]
at = "1.0"
name = "level"
width = 2
bind = "B"

[[receives]]
at = "1.2"
reserved = 2

[[receives]]
at = "1.4"
name = "up"
bind = "C"

# the rest
[[receives]]
at = "1.5"
reserved = 11

[[sends]]
at = "0.0"
name = "state"
bind = "D"
[[sends]]
at = "0.1"
reserved = 7
"""


def done(operation: Operation, sc1: str = SC1, lx: str = LX) -> Edit:
    return edit(MapText(path="sc1.toml", text=sc1), MapText(path="lx.toml", text=lx), operation)


def lines_of(result: Edit) -> tuple[list[str], list[str]]:
    """Return the lines that go and come at each end, without their line ends."""
    found = []
    for old, new in zip(result.old, result.new, strict=True):
        lines = unified_patch("x", old.text, new.text).splitlines()[2:]
        found.append([line for line in lines if line[:1] in "+-"])
    return found[0], found[1]


def refused(operation: Operation, sc1: str = SC1, lx: str = LX) -> str:
    with pytest.raises(UsageError) as caught:
        done(operation, sc1, lx)
    return str(caught.value)


class TestInsert:
    def test_at_the_start_of_a_run(self) -> None:
        result = done(Insert(name="new", after="permit", binds={"SC1": "x", "LX": "X"}))
        assert lines_of(result)[0] == [
            "-  { at = '0.1', reserved = 0x07 }, # spare",
            '+  { at = "0.1", name = "new", bind = "x" },',
            "+  { at = '0.2', reserved = 0x06 }, # spare",
        ]
        assert result.new[1].text == LX.replace(
            '[[receives]]\nat = "0.1"\nreserved = 3\n',
            '[[receives]]\nat = "0.1"\nname = "new"\nbind = "X"\n\n'
            '[[receives]]\nat = "0.2"\nreserved = 2\n',
        )
        receives = result.after.second.receives
        assert [(str(run.at), run.width) for run in receives.reserved][:2] == [
            ("0.2", 2),
            ("0.4", 4),
        ]
        assert edit(*result.new, Remove(name="new")).new == result.old

    def test_over_the_border_of_two_runs(self) -> None:
        result = done(
            Insert(name="new", width=2, at=Place(0, 3), sender="SC1", fields={"note": "n"})
        )
        receives = result.after.second.receives
        assert [(str(run.at), run.width) for run in receives.reserved][:2] == [
            ("0.1", 2),
            ("0.5", 3),
        ]
        sends = result.after.first.sends
        assert [(str(run.at), run.width) for run in sends.reserved][:2] == [("0.1", 2), ("0.5", 3)]
        assert "# spare" in result.new[0].text

    def test_before_a_signal_with_every_field(self) -> None:
        fields: dict[str, Any] = {
            "type": "code",
            "codes": ((0, "off"), (1, "on")),
            "safe": 1,
            "unit": "u",
        }
        result = done(Insert(name="new", width=1, before="up", fields=fields))
        (new,) = [one for one in result.after.first.sends.signals if one.name == "new"]
        assert (str(new.at), new.type, new.codes, new.safe) == ("1.3", "code", fields["codes"], 1)
        assert '{ at = "1.2", reserved = 1, note = "for the second axis" }' in result.new[0].text

    def test_a_run_used_up_disappears(self) -> None:
        result = done(Insert(name="new", width=2, after="level"))
        assert "second axis" not in result.new[0].text
        assert result.after.second.receives.reserved[-1].width == 11

    def test_an_end_that_has_it_lends_its_fields(self) -> None:
        row = (
            '  { at = "0.1", name = "new", one_means = "on", edge = "both", bind = "x", '
            'note = "n" },\r\n'
        )
        sc1 = SC1.replace(
            "  { at = '0.1', reserved = 0x07 }", row + "  { at = '0.2', reserved = 0x06 }"
        )
        result = done(Insert(name="new", after="permit", binds={"LX": "X"}), sc1)
        assert result.new[0].text == sc1
        (new,) = [one for one in result.after.second.receives.signals if one.name == "new"]
        assert (new.one_means, new.edge, new.bind, new.note) == ("on", "both", "X", "")
        rebound = done(Insert(name="new", after="permit", binds={"SC1": "y"}), sc1)
        assert rebound.new[0].text == sc1.replace('bind = "x"', 'bind = "y"')

    @pytest.mark.parametrize(
        ("operation", "message"),
        [
            (
                Insert(name="new", width=3, at=Place(1, 6), sender="SC1"),
                "new needs 3 bits at 1.6, 2 free there (2.0 is reserve that carries 0x1 at SC1); "
                "free runs: 0.1-0.7 (7 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)",
            ),
            (
                Insert(name="new", width=3, before="up"),
                "new needs 3 bits before 1.4, 2 free there (1.1 is level at SC1 and LX); "
                "free runs: 0.1-0.7 (7 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)",
            ),
            (
                Insert(name="new", before="permit"),
                "new needs 1 bit before 0.0, 0 free there (the data begin there); "
                "free runs: 0.1-0.7 (7 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)",
            ),
            (
                Insert(name="new", width=8, at=Place(3, 0), sender="SC1"),
                "new needs 8 bits at 3.0, 0 free there (3.0 is beyond the data at SC1 and LX); "
                "free runs: 0.1-0.7 (7 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)",
            ),
            (
                Insert(name="up", after="permit"),
                "up must be new at one end at least, not there at both: 1.4 and 1.4",
            ),
            (
                Insert(name="new", at=Place(0, 1)),
                "the sender must be stated with a place, SC1 or LX, not left out",
            ),
            (
                Insert(name="new", at=Place(0, 1), sender="LX2"),
                "an end must be SC1 or LX, not LX2",
            ),
            (
                Insert(name="new", after="permit", binds={"LX2": "x"}),
                "an end must be SC1 or LX, not LX2",
            ),
            (
                Insert(name="new", after="permits"),
                "permits must be a signal of SC1-LX (did you mean permit?)",
            ),
            (Insert(name="new", after="zzz"), "zzz must be a signal of SC1-LX"),
            (
                Insert(name="new", width=2, after="permit", fields={"safe": 7}),
                "the edit must leave a map that can be read: safe must fit uint of width 2, not 7",
            ),
            (
                Insert(name="new", width=2, after="permit", fields={"type": "bool"}),
                "a bool must be 1 bit wide, not 2",
            ),
        ],
    )
    def test_refusal(self, operation: Operation, message: str) -> None:
        assert refused(operation) == message

    def test_refusals_where_the_ends_differ(self) -> None:
        lx = LX.replace('at = "1.0"\nname', 'at = "0.7"\nname').replace(
            'at = "0.4"\nreserved = 4', 'at = "0.4"\nreserved = 2'
        )
        assert refused(Insert(name="new", after="level"), lx=lx) == (
            "level must end at one place at both ends, not at 1.2 at SC1 and at 1.1 at LX"
        )
        assert refused(Insert(name="new", before="level"), lx=lx) == (
            "level must start at one place at both ends, not at 1.0 at SC1 and at 0.7 at LX"
        )
        assert refused(Insert(name="new", at=Place(0, 6), sender="SC1"), lx=lx) == (
            "new needs 1 bit at 0.6, 0 free there (0.6 is not declared at LX); "
            "free runs: 0.1-0.5 (5 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)"
        )
        overlapping = LX.replace('at = "0.4"\nreserved = 4', 'at = "0.4"\nreserved = 5')
        sc1 = SC1.replace('at = "1.0", name = "level", width = 2', 'at = "1.1", name = "level"')
        assert "(1.0 is not declared at SC1, is reserve and level at LX)" in refused(
            Resize(name="permit", width=9), sc1, overlapping
        )

    def test_one_end_has_it_elsewhere(self) -> None:
        row = '{ at = "0.1", name = "new" },\r\n  '
        sc1 = SC1.replace(
            "{ at = '0.1', reserved = 0x07 }", row + "{ at = '0.2', reserved = 0x06 }"
        )
        assert refused(Insert(name="new", width=2, after="level"), sc1) == (
            "new must be where it is already, 0.1, not 1.2-1.3"
        )
        assert refused(Insert(name="new", width=9, before="permit"), sc1) == (
            "new must be where it is already, 0.1, not 0.0-1.0"
        )


class TestRemove:
    def test_between_two_runs_they_become_one(self) -> None:
        sc1 = SC1.replace(', note = "for the second axis"', "")
        result = done(Remove(name="up"), sc1)
        assert lines_of(result)[0] == [
            '-  { at = "1.2", reserved = 2 },',
            '-  { at = "1.4", name = "up", bind = "c" },',
            '-  { at = "1.5", reserved = 3 },',
            '+  { at = "1.2", reserved = 6 },',
        ]
        assert result.after.second.receives.reserved[-1].width == 14

    def test_a_run_with_a_comment_stays(self) -> None:
        sc1 = SC1.replace('{ at = "1.5", reserved = 3 },', '{ at = "1.5", reserved = 3 }, # keep')
        result = done(Remove(name="up"), sc1)
        assert lines_of(result)[0] == [
            '-  { at = "1.2", reserved = 2, note = "for the second axis" },',
            '-  { at = "1.4", name = "up", bind = "c" },',
            '+  { at = "1.2", reserved = 3, note = "for the second axis" },',
        ]
        noted = SC1.replace("reserved = 3 },", 'reserved = 3, note = "keep" },')
        assert 'reserved = 3, note = "keep" }' in done(Remove(name="up"), noted).new[0].text

    def test_a_signal_alone_becomes_reserve(self) -> None:
        result = done(Remove(name="state"))
        assert lines_of(result)[0][1] == '+receives = [ { at = "0.0", reserved = 8 } ]'

    def test_what_a_relation_names_is_missed(self) -> None:
        result = done(Remove(name="up"))
        assert [finding.rule for finding in result.caused] == ["relation-unknown-signal"]
        assert not result.accepted

    def test_where_only_one_end_has_it(self) -> None:
        lx = LX.replace('name = "up"', 'name = "down"')
        result = done(Remove(name="up"), lx=lx)
        assert result.new[1].text == lx

    def test_with_signals_on_both_sides(self) -> None:
        before = demo.before()
        result = done(Remove(name="fault_ack"), before["sc1-lx.toml"], before["lx-sc1.toml"])
        assert '  { at = "0.7", reserved = 1 },\n' in result.new[0].text


class TestWhatAnEditCauses:
    """A finding of many culprits MUST NOT hide one that the edit adds, shown or not."""

    HEAD = 'format = "safeframe-map/1"\nconnection = { name = "C", profile = "plain", id = 7 }\n'

    def ends(self, *names: str) -> tuple[str, str]:
        both = []
        for end, peer, way in (("SC", "LX", "sends"), ("LX", "SC", "receives")):
            rows = [
                f'  {{ at = "0.{at}", name = "{name}"'
                + (f', bind = "x.{name}" }},' if end == "LX" else " },")
                for at, name in enumerate(names)
            ]
            rows.append(f'  {{ at = "0.{len(names)}", reserved = {8 - len(names)} }},')
            table = f'end = {{ name = "{end}", peer = "{peer}" }}\n{way} = [\n'
            both.append(self.HEAD + table + "\n".join(rows) + "\n]\n")
        return both[0], both[1]

    def test_one_more_than_is_shown(self) -> None:
        insert = Insert(name="newsig", after="e", binds={"LX": "x.new"})
        result = done(insert, *self.ends("a", "b", "c", "d", "e"))
        assert [finding.rule for finding in result.caused] == ["unbound-signal"]
        assert not result.accepted

    def test_an_allowance_that_was_there_before_the_signal(self) -> None:
        """What is allowed of a signal MUST NOT hold silently for a new one of its name."""

        def caused(row: str) -> list[str]:
            sc, lx = self.ends("a", "b")
            allow = f'allow = [{{ rule = "unbound-signal"{row}, reason = "spare" }}]\n'
            insert = Insert(name="newsig", after="b", binds={"LX": "x.new"})
            return [one.rule for one in done(insert, sc + allow, lx).caused]

        assert caused(', signal = "newsig"') == ["unbound-signal"]
        assert caused("") == []

    def differing(self, bits: int) -> Iterator[str]:
        """Yield the texts of both ends, whose safe values differ in every bit."""
        for end, peer, way, safe in (("SC", "LX", "sends", 1), ("LX", "SC", "receives", 0)):
            rows = [
                f'  {{ at = "{place}", name = "s{at}", safe = {safe}, bind = "x.{at}" }},'
                for at, place in enumerate(map(Place.at, range(bits)))
            ]
            table = f'end = {{ name = "{end}", peer = "{peer}" }}\n{way} = [\n'
            yield self.HEAD + table + "\n".join(rows) + "\n]\n"

    def test_what_is_not_looked_for_may_be_new(self) -> None:
        result = done(Rename(name="s503", to="last"), *self.differing(504))
        (caused,) = result.caused
        assert (caused.rule, caused.unlisted) == ("safe-value-differs", None)
        assert not result.accepted

    def test_between_strangers_anything_may_be_new(self) -> None:
        sc, lx = self.ends("a", "b")
        result = done(Rename(name="a", to="c"), sc, lx.replace('peer = "SC"', 'peer = "SC9"'))
        assert [one.rule for one in result.caused] == ["wrong-file"]
        assert not result.accepted

    def test_what_is_not_listed_is_known_one_by_one(self) -> None:
        """What was there behind the cut already MUST NOT pass for something new."""
        assert done(Rename(name="s103", to="last"), *self.differing(104)).caused == ()

    def test_one_less(self) -> None:
        result = done(Remove(name="a"), *self.ends("a", "b", "c", "d", "e", "f"))
        assert [one.rule for one in result.report.findings if one.rule == "unbound-signal"]
        assert result.caused == ()

    @pytest.mark.parametrize("other", ["r", "s"])
    def test_a_second_one_of_a_kind(self, other: str) -> None:
        sc1, lx = self.ends("a", "b")
        row = '{{ name = "{}", when = {{ {} = 1 }}, requires = {{ {} = 1 }}, reason = "made up" }}'
        rows = [row.format("r", "gone", "b" if other == "r" else "a")]
        rows += [row.format("s", "a", "b")] if other == "s" else []
        result = done(Remove(name="b"), f"{sc1}relations = [ {', '.join(rows)} ]\n", lx)
        assert [finding.rule for finding in result.caused] == ["relation-unknown-signal"]
        assert "b" in result.caused[0].message


class TestRename:
    @pytest.mark.parametrize(
        ("allowed", "name", "to", "told"),
        [
            ("sends.permit", "permit", "go", "sends.go"),
            ("permit", "permit", "state", "sends.state"),
            ("receives.permit", "permit", "go", "receives.permit"),
        ],
    )
    def test_an_allowance_follows(self, allowed: str, name: str, to: str, told: str) -> None:
        """It MUST go on covering the signal that it was written for, and no other."""
        old, new = (f'rule = "hole", signal = "{word}"' for word in (allowed, told))
        sc1 = SC1.replace('rule = "hole", signal = "permit"', old)
        result = done(Rename(name=name, to=to, sender="SC1"), sc1)
        assert new in result.new[0].text

    def test_everything_that_names_it(self) -> None:
        result = done(Rename(name="permit", to="go ahead"))
        assert result.new[0].text == (
            SC1.replace('name = "permit"', 'name = "go ahead"')
            .replace('valid_by = "permit"', 'valid_by = "go ahead"')
            .replace('mirrors = "permit"', 'mirrors = "go ahead"')
            .replace('signal = "permit"', 'signal = "go ahead"')
            .replace("when = { permit", 'when = { "go ahead"')
            .replace('"sends.permit"', '"sends.go ahead"')
            .replace("sends.permit = 1, up", 'sends."go ahead" = 1, up')
        )
        assert result.new[1].text == LX.replace('name = "permit"', 'name = "go ahead"')

    def test_a_name_that_the_other_direction_has_too(self) -> None:
        result = done(Rename(name="up", to="state"))
        relation = result.after.first.relations[1]
        assert relation.when == (("sends.permit", (1,)), ("sends.state", (1,)))
        back = edit(*result.new, Rename(name="state", to="up", sender="SC1"))
        assert str(back.after.first.relations[1]) == (
            "sends.permit = 1 and sends.up = 1 excludes level = 1"
        )
        assert (
            refused(Rename(name="state", to="x"), result.new[0].text, result.new[1].text)
            == "state must be told by who sends it, SC1 or LX: both directions have it"
        )

    def test_where_one_end_has_the_new_name_already(self) -> None:
        lx = LX.replace('name = "up"', 'name = "upwards"')
        result = done(Rename(name="up", to="upwards"), lx=lx)
        assert result.new[1].text == lx
        assert result.caused == ()

    @pytest.mark.parametrize(
        ("operation", "message"),
        [
            (Rename(name="up", to="up"), "the new name must be another one, not up"),
            (
                Rename(name="up", to="level"),
                "the new name must be free at SC1, not that of the signal at 1.0",
            ),
        ],
    )
    def test_refusal(self, operation: Operation, message: str) -> None:
        assert refused(operation) == message

    @pytest.mark.parametrize("named", ["permit", "'sends.permit'"])
    def test_a_name_that_a_condition_has_for_an_unknown_signal(self, named: str) -> None:
        """Two rules about two signals MUST NOT become two about one."""
        relation = (
            f'[[relations]]\nname="a"\nreason="r"\nwhen={{ {named}=1, go=1 }}\nexcludes={{up=1}}\n'
        )
        sc1 = SC1.partition("relations = [")[0] + relation
        assert refused(Rename(name="permit", to="go"), sc1) == (
            "the new name must be none that when of the relation 'a' names beside permit, not go"
        )

    def test_a_table_in_pieces(self) -> None:
        sc1 = SC1.partition("relations = [")[0]
        pieces = (
            '[[relations]]\nname="a"\nreason="r"\n[relations.when]\npermit = 1 # p\n'
            "[relations.requires]\nup=1\n"
        )
        result = done(Rename(name="permit", to="go"), sc1 + pieces)
        assert "[relations.when]\ngo = 1 # p\n" in result.new[0].text


class TestResize:
    def test_wider_and_back(self) -> None:
        result = done(Resize(name="permit", width=4))
        assert lines_of(result)[0] == [
            '-  { at = \'0.0\', name = "permit", bind = "a" }, # first',
            "-  { at = '0.1', reserved = 0x07 }, # spare",
            '+  { at = \'0.0\', name = "permit", width = 4, bind = "a" }, # first',
            "+  { at = '0.4', reserved = 0x04 }, # spare",
        ]
        assert result.after.second.receives.reserved[0].at == Place(0, 4)
        back = edit(*result.new, Resize(name="permit", width=1))
        assert back.after.first.sends == result.before.first.sends

    def test_the_type_goes_with_the_width(self) -> None:
        sc1 = SC1.replace('name = "permit"', 'name = "permit", type = "bool"')
        result = done(Resize(name="permit", width=2), sc1)
        assert result.after.first.sends.signals[0].type == "uint"
        other = done(Resize(name="permit", width=2, type="int"))
        assert other.after.first.sends.signals[0].type == "int"

    def test_where_one_end_has_the_width_already(self) -> None:
        lx = LX.replace('name = "permit"', 'name = "permit"\nwidth = 2').replace(
            'at = "0.1"\nreserved = 3', 'at = "0.2"\nreserved = 2'
        )
        result = done(Resize(name="permit", width=2), lx=lx)
        assert result.new[1].text == lx
        gone = LX.replace('name = "permit"', 'name = "other"')
        assert done(Resize(name="permit", width=1), lx=gone).new[1].text == gone

    def test_refusal(self) -> None:
        assert refused(Resize(name="level", width=5)) == (
            "level needs 3 bits at 1.2, 2 free there (1.4 is up at SC1 and LX); "
            "free runs: 0.1-0.7 (7 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)"
        )


class TestMove:
    def test_the_row_moves_with_its_comment(self) -> None:
        result = done(Move(name="permit", before="up"))
        assert lines_of(result)[0] == [
            '-  { at = \'0.0\', name = "permit", bind = "a" }, # first',
            "-  { at = '0.1', reserved = 0x07 }, # spare",
            "+  { at = '0.0', reserved = 0x08 }, # spare",
            '-  { at = "1.2", reserved = 2, note = "for the second axis" },',
            '+  { at = "1.2", reserved = 1, note = "for the second axis" },',
            '+  { at = \'1.3\', name = "permit", bind = "a" }, # first',
        ]
        assert '[[receives]] # the permit\nat = "1.3"' in result.new[1].text

    def test_backwards(self) -> None:
        result = done(Move(name="up", after="permit"))
        assert [str(entry.at) for entry in result.after.first.sends.entries] == [
            "0.0",
            "0.1",
            "0.2",
            "1.0",
            "1.2",
            "2.0",
        ]
        # The bits it left join the run before it, the run after it as well.
        assert result.after.first.sends.reserved[1].width == 6

    def test_where_it_is_and_where_one_end_lacks_it(self) -> None:
        assert not done(Move(name="up", at=Place(1, 4))).changed
        gone = LX.replace('name = "up"', 'name = "down"')
        result = done(Move(name="up", at=Place(1, 5)), lx=gone)
        assert result.new[1].text == gone
        assert str(result.after.first.sends.signals[-1].at) == "1.5"

    @pytest.mark.parametrize(
        ("operation", "message"),
        [
            (
                Move(name="up", at=Place(1, 0)),
                "up needs 1 bit at 1.0, 0 free there (1.0 is level at SC1 and LX); "
                "free runs: 0.1-0.7 (7 bits), 1.2-1.3 (2 bits), 1.5-1.7 (3 bits)",
            ),
            (
                Move(name="up", after="up"),
                "a signal must move next to another one, not next to up",
            ),
            (Move(name="up", after="state"), "state must be a signal of SC1 -> LX"),
        ],
    )
    def test_refusal(self, operation: Operation, message: str) -> None:
        assert refused(operation) == message


class TestBind:
    def test_at_one_end(self) -> None:
        result = done(Bind(name="up", binds={"LX": "Z"}))
        assert result.new[0].text == SC1
        assert result.new[1].text == LX.replace('bind = "C"', 'bind = "Z"')
        assert result.patch == (
            '--- lx.toml\n+++ lx.toml\n@@ -32,7 +32,7 @@\n [[receives]]\n at = "1.4"\n'
            ' name = "up"\n-bind = "C"\n+bind = "Z"\n \n # the rest\n [[receives]]\n'
        )
        assert not done(Bind(name="up", binds={"LX": "C"})).changed

    def test_refusal(self) -> None:
        gone = LX.replace('name = "up"', 'name = "down"')
        assert refused(Bind(name="up", binds={"LX": "Z"}), lx=gone) == (
            "up must exist at LX to be bound there"
        )


class TestDeclare:
    def test_a_hole_at_one_end(self) -> None:
        lx = LX.replace('[[receives]]\nat = "0.4"\nreserved = 4\n\n', "")
        result = done(Declare(at=Place(0, 4), width=4, sender="SC1"), lx=lx)
        assert result.new[0].text == SC1
        assert result.new[1].text == LX

    @pytest.mark.parametrize(
        ("operation", "message"),
        [
            (
                Declare(at=Place(0, 0), width=2, sender="SC1"),
                "bits to declare must be undeclared at SC1, not 0.0-0.1: "
                "permit, the reserve at 0.1",
            ),
            (
                Declare(at=Place(2, 0), width=9, sender="SC1"),
                "bits to declare must lie within the 24 bits of SC1, not 2.0-3.0",
            ),
        ],
    )
    def test_refusal(self, operation: Operation, message: str) -> None:
        assert refused(operation) == message

    def test_partly_declared(self) -> None:
        lx = LX.replace("reserved = 3", "reserved = 2")
        assert refused(Declare(at=Place(0, 1), width=7, sender="SC1"), lx=lx) == (
            "bits to declare must be undeclared at LX, not 0.1-0.7: "
            "the reserve at 0.1, the reserve at 0.4"
        )


@pytest.mark.parametrize("name", ["bind", "name", "where", "safr"])
def test_a_further_field_is_one_of_a_signal(name: str) -> None:
    """A variable goes into ``binds``, by its end: here nobody would look at it."""
    told = f"valid_by, mirrors, note, not {name}$"
    with pytest.raises(UsageError, match=f"^a further field must be one of type, order, .*{told}"):
        Insert(name="new", after="x", fields={"type": "bool", name: "y"})


def test_a_place_is_stated_once() -> None:
    for stated, said in (
        ({}, "none of them"),
        ({"after": "x", "before": "y"}, "after and before"),
        ({"at": Place(0, 0), "after": "x"}, "at and after"),
    ):
        with pytest.raises(UsageError) as caught:
            Insert(name="new", **stated)
        assert str(caught.value) == (
            f"a place must be stated by one of at, after, before, not by {said}"
        )


@pytest.mark.parametrize(
    "operation",
    [
        Insert(name="new", after="permit"),
        Insert(name="permit", at=Place(0, 0), sender="SC1"),
        Remove(name="permit"),
        Rename(name="permit", to="go"),
        Resize(name="permit", width=2),
        Move(name="permit", at=Place(0, 2)),
        Move(name="level", after="permit"),
        Bind(name="permit", binds={"LX": "x"}),
    ],
)
def test_a_name_that_an_end_gives_twice_means_no_signal(operation: Operation) -> None:
    """Which row comes first must not decide which of two signals is edited."""
    twice = SC1.replace('name = "up"', 'name = "permit"')
    assert refused(operation, sc1=twice) == (
        "permit must be one signal of SC1, not those at 0.0 and 1.4; "
        "give each a name of its own in the file"
    )


def test_two_files_of_one_end() -> None:
    assert refused(Remove(name="up"), SC1, SC1) == (
        "two files of two ends must be edited, not twice SC1"
    )


def test_all_problems_of_both_files_are_told() -> None:
    with pytest.raises(InputError) as caught:
        done(Remove(name="up"), "x", "y")
    assert [problem.path for problem in caught.value.problems] == ["sc1.toml", "lx.toml"]


def test_csv_is_edited_too() -> None:
    sheet = dumps(loads(LX), format="csv").replace("\n", "\r\n")
    sources = MapText(path="sc1.toml", text=SC1), MapText(path="lx.CSV", text=sheet)
    result = edit(*sources, Insert(name="new", after="permit", binds={"SC1": "x", "LX": "X, Y"}))
    assert lines_of(result)[1] == [
        "-receives,0.1,,3" + "," * 14,
        "+receives,0.1,new," + "," * 13 + '"X, Y",',
        "+receives,0.2,,2" + "," * 14,
    ]
    assert edit(*result.new, Remove(name="new")).new == sources
    renamed = edit(*sources, Rename(name="permit", to="go"))
    assert renamed.new[1].text == sheet.replace(",permit,", ",go,")


def test_the_change_of_the_demo() -> None:
    before, after = demo.before(), demo.after()
    sources = [MapText(path=name, text=before[name]) for name in ("sc1-lx.toml", "lx-sc1.toml")]
    first = edit(
        sources[0],
        sources[1],
        Insert(
            name="brake2_release",
            after="speed_level",
            fields={"one_means": "holding brake 2 released"},
            binds={"SC1": "Lift.Brake2Release", "LX": "Drive.Brake2Release"},
        ),
    )
    assert first.accepted
    assert first.classes.names == ("taken from a gap",)
    assert [mix.updated for mix in first.mixes] == ["SC1", "LX"]
    second = edit(
        *first.new,
        Insert(
            name="brake2_applied",
            after="speed_range",
            fields={"one_means": "holding brake 2 is applied"},
            binds={"SC1": "Lift.Back.Brake2Applied", "LX": "Drive.Brake2Applied"},
        ),
    )
    assert [new.text for new in second.new] == [after[new.path] for new in second.new]


class TestPatch:
    def test_a_text_without_a_last_line_end(self) -> None:
        assert unified_patch("x", "a\r\nb", "a\r\nc") == (
            "--- x\n+++ x\n@@ -1,2 +1,2 @@\n a\r\n-b\n\\ No newline at end of file\n"
            "+c\n\\ No newline at end of file\n"
        )

    def test_only_line_feeds_end_lines(self) -> None:
        assert unified_patch("x", "a\x0cb\n", "a\x0cc\n").count("\n") == 5
        assert unified_patch("x", "a", "a") == ""


def test_the_texts_are_maps() -> None:
    assert loads(SC1).name == "SC1"
