"""Which ends belong together."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._errors import InputError
from safeframe._model import ConnectionTable, End
from safeframe._pairing.gather import gather, sort_out
from safeframe._source import Location


def end(name: str, peer: str, connection: str, path: str = "") -> End:
    connection_table = ConnectionTable(name=connection, profile="plain")
    return End(
        name=name,
        peer=peer,
        connection_table=connection_table,
        where=Location(path=path or f"{name}.toml"),
    )


def names(ends: list[End]) -> list[tuple[str, str]]:
    return [(found.first.name, found.second.name) for found in gather(ends)]


def test_ends_match_by_connection_and_names() -> None:
    ends = [
        end("SC1", "LX", "A"),
        end("LC1", "SC1", "B"),
        end("LX", "SC1", "A"),
        end("SC1", "LC1", "B"),
    ]
    assert names(ends) == [("SC1", "LX"), ("LC1", "SC1")]


def test_two_connections_between_the_same_ends() -> None:
    ends = [end("A", "B", "1"), end("A", "B", "2"), end("B", "A", "2"), end("B", "A", "1")]
    found = gather(ends)
    assert [(c.first.connection_table.name, c.second.connection_table.name) for c in found] == [
        ("1", "1"),
        ("2", "2"),
    ]


def test_both_names_together_count_before_one_of_them() -> None:
    """A lonely end of the same connection name does not take a partner from another pair."""
    pairs = [end("A", "B", "1"), end("B", "A", "1"), end("A", "B", "2"), end("B", "A", "2")]
    alone = end("C", "D", "1")
    found, left = sort_out([alone, *pairs])
    assert [(c.first, c.second) for c in found] == [(pairs[0], pairs[1]), (pairs[2], pairs[3])]
    assert left == [alone]


def test_ends_that_differ_in_the_connection_name_match_by_their_names() -> None:
    ends = [end("SC1", "LX", "A"), end("LX", "SC1", "a")]
    assert names(ends) == [("SC1", "LX")]


def test_ends_that_differ_in_the_peer_match_by_the_connection_name() -> None:
    ends = [end("SC1", "LX9", "A"), end("LX", "SC1", "A")]
    assert names(ends) == [("SC1", "LX")]


def test_an_end_alone_is_a_problem() -> None:
    with pytest.raises(InputError) as caught:
        gather([end("SC1", "LX", "A")])
    assert str(caught.value) == (
        "SC1.toml: end SC1 of connection A must have exactly one partner among the map files, "
        "not none (put the map file of LX beside it, or name the two files of one pair)"
    )


def test_a_copy_of_an_end_is_a_problem_and_names_its_rivals() -> None:
    ends = [end("SC1", "LX", "A"), end("LX", "SC1", "A"), end("LX", "SC1", "A", "copy.toml")]
    with pytest.raises(InputError) as caught:
        gather(ends)
    assert len(caught.value.problems) == 3
    assert "not 2 (LX.toml, copy.toml)" in str(caught.value.problems[0])


def test_two_copies_of_one_end_are_no_connection() -> None:
    with pytest.raises(InputError):
        gather([end("SC1", "LX", "A"), end("SC1", "LX", "A", "copy.toml")])


class TestGather:
    """Every end is in exactly one connection, whatever the order of the files."""

    @given(st.permutations(range(12)))
    def test_any_order(self, order: list[int]) -> None:
        ends = [end(f"E{n}", "HUB", f"C{n}") for n in range(6)]
        ends += [end("HUB", f"E{n}", f"C{n}") for n in range(6)]
        shuffled = [ends[number] for number in order]
        found = gather(shuffled)
        assert {c.first.connection_table.name for c in found} == {f"C{n}" for n in range(6)}
        assert all(c.first.connection_table.name == c.second.connection_table.name for c in found)
        assert [c.first for c in found] == [e for e in shuffled if e in {c.first for c in found}]
