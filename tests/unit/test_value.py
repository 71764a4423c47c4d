"""Dataclasses made at little cost: the same to whoever uses them as those of ``dataclasses``."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from typing import Any, NamedTuple, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _value


def _kinds(make: Any, field: Any) -> tuple[Any, Any, Any]:
    """Return three classes that are made in one of both ways."""

    @make(frozen=True, slots=True, kw_only=True)
    class Named:
        """A value."""

        width: int = 1
        name: str
        note: str = field(default="", repr=False)
        line: int = field(default=0, compare=False)

        @property
        def end(self) -> int:
            return self.width + 1

    @make(frozen=True, slots=True, order=True)
    class Pair:
        left: int
        right: int = 7

    @make(frozen=True, slots=True, kw_only=True)
    class Finished:
        one: int
        rest: tuple[int, ...] = field(compare=False, repr=False)

        def __post_init__(self) -> None:
            if self.one < 0:
                raise ValueError(f"one must be 0 or more, not {self.one}")
            object.__setattr__(self, "rest", (*self.rest, self.one))

    for kind in (Named, Pair, Finished):
        kind.__qualname__ = kind.__name__
    return Named, Pair, Finished


OURS = _kinds(_value.dataclass, _value.field)
REAL = _kinds(dataclasses.dataclass, dataclasses.field)
Named, Pair, Finished = OURS
# Pickle looks a class up by its name in this module.

_ARGUMENTS: st.SearchStrategy[Any] = st.one_of(
    st.tuples(
        st.lists(st.integers(-2, 2), max_size=3),
        st.dictionaries(
            st.sampled_from(
                ("width", "name", "note", "line", "left", "right", "one", "rest", "other")
            ),
            st.integers(-2, 2) | st.just((1,)),
            max_size=4,
        ),
    ),
    st.tuples(
        st.just([]),
        st.fixed_dictionaries(
            {"name": st.integers(-2, 2)},
            optional={name: st.integers(-2, 2) for name in ("width", "note", "line")},
        ),
    ),
    st.tuples(st.lists(st.integers(-2, 2), min_size=1, max_size=2), st.just({})),
    st.tuples(
        st.just([]), st.fixed_dictionaries({"one": st.integers(-2, 2), "rest": st.just((3,))})
    ),
)


def _called(kind: Any, args: list[Any], values: dict[str, Any]) -> Any:
    try:
        return kind(*args, **values)
    except (TypeError, ValueError) as error:
        return f"{type(error).__name__}: {error}".replace("_kinds.<locals>.", "")


class TestAsDataclasses:
    """A class MUST do with any arguments what a real dataclass of the same text does."""

    @given(st.sampled_from((0, 1, 2)), _ARGUMENTS, _ARGUMENTS)
    def test_made_shown_compared(self, number: int, one: Any, other: Any) -> None:
        mine, real = (
            [_called(kinds[number], *arguments) for arguments in (one, other)]
            for kinds in (OURS, REAL)
        )
        assert [*map(repr, mine)] == [*map(repr, real)]
        assert (mine[0] == mine[1]) is (real[0] == real[1])
        if not any(isinstance(value, str) for value in mine):
            assert (hash(mine[0]) == hash(mine[1])) is (hash(real[0]) == hash(real[1]))
            if number == 1:
                orders = [[a < b, a <= b, a > b, a >= b] for a, b in (tuple(mine), tuple(real))]
                assert orders[0] == orders[1]

    @pytest.mark.parametrize("number", [0, 1, 2])
    def test_looked_at(self, number: int) -> None:
        mine: Any = OURS[number]
        real: Any = REAL[number]
        for name in ("name", "default", "repr", "compare", "init", "kw_only", "type"):
            told = [getattr(one, name) for one in dataclasses.fields(mine)]
            assert told == [getattr(one, name) for one in dataclasses.fields(real)]
        assert str(inspect.signature(mine)).replace("'None'", "None") == str(
            inspect.signature(real)
        )
        assert get_type_hints(mine.__init__) == get_type_hints(real.__init__)
        for name in ("__slots__", "__match_args__", "__name__", "__module__"):
            assert getattr(mine, name) == getattr(real, name)
        assert repr(mine.__dataclass_params__) == repr(real.__dataclass_params__)
        assert mine.__init__.__qualname__ == real.__init__.__qualname__
        assert dataclasses.is_dataclass(mine)

    def test_used(self) -> None:
        value = Named(name="a", line=4, note="n")
        assert value.end == 2
        assert Named.__doc__ == "A value."
        for same in (copy.copy(value), copy.deepcopy(value), pickle.loads(pickle.dumps(value))):
            assert (same, same.line) == (value, 4)
        assert _value.replace(value, width=3) == dataclasses.replace(value, width=3)
        assert dataclasses.asdict(value) == {"width": 1, "name": "a", "note": "n", "line": 4}
        assert value != "a"
        with pytest.raises(TypeError, match="not supported"):
            assert Pair(1) < 1

    def test_nothing_can_be_changed(self) -> None:
        value = Named(name="a")
        with pytest.raises(dataclasses.FrozenInstanceError, match="cannot assign to field 'name'"):
            value.name = "b"
        with pytest.raises(dataclasses.FrozenInstanceError, match="cannot delete field 'name'"):
            del value.name
        with pytest.raises(AttributeError):
            value.other = 1


@pytest.mark.parametrize(("frozen", "slots"), [(True, False), (False, True)])
def test_other_kinds_are_refused(frozen: bool, slots: bool) -> None:
    with pytest.raises(TypeError, match="made here must be frozen and have slots"):
        _value.dataclass(frozen=frozen, slots=slots)


def _rows(base: Any) -> Any:
    """Return a class of rows that is made in one of both ways."""

    class Row(base):  # type: ignore[misc]
        """A row."""

        name: str
        width: int = 1
        note: str = ""

        @property
        def end(self) -> int:
            return int(self.width) + 1

    Row.__qualname__ = "Row"
    return Row


class _Bare(_value.NamedTuple):
    first: int
    second: int


Row, RealRow = _rows(_value.NamedTuple), _rows(NamedTuple)


class TestAsNamedTuples:
    """A row MUST do with any arguments what a named tuple of the same text does."""

    @given(
        st.lists(st.integers(-2, 2), max_size=4),
        st.dictionaries(st.sampled_from(("name", "width", "note", "other")), st.integers(-2, 2)),
    )
    def test_made_shown_changed(self, args: list[int], values: dict[str, int]) -> None:
        mine, real = _called(Row, args, values), _called(RealRow, args, values)
        assert (mine == real, repr(mine)) == (True, repr(real))
        made = [_called(kind._make, [args], {}) for kind in (Row, RealRow)]
        assert repr(made[0]) == repr(made[1])
        changed = [_called(kind("a")._replace, [], values) for kind in (Row, RealRow)]
        assert repr(changed[0]) == repr(changed[1])

    def test_looked_at(self) -> None:
        assert str(inspect.signature(Row)) == ("(name: 'str', width: 'int' = 1, note: 'str' = '')")
        for name in ("_fields", "_field_defaults", "__slots__", "__match_args__", "__doc__"):
            assert getattr(Row, name) == getattr(RealRow, name)
        assert get_type_hints(Row) == get_type_hints(RealRow)
        assert Row.__new__.__qualname__ == RealRow.__new__.__qualname__ == "Row.__new__"
        assert _Bare.__doc__ == "_Bare(first, second)"
        assert Row.width.__doc__ == "Alias for field number 1"

    def test_used(self) -> None:
        row = Row("a", width=4)
        assert (row.end, row._asdict()) == (5, {"name": "a", "width": 4, "note": ""})
        for same in (copy.copy(row), copy.deepcopy(row), pickle.loads(pickle.dumps(row))):
            assert (same, type(same)) == (row, Row)
        assert _Bare(1, 2) < _Bare(1, 3)
        with pytest.raises(AttributeError):
            row.width = 5
        with pytest.raises(AttributeError):
            row.other = 5

    def test_too_many_fields_are_refused(self) -> None:
        fields = dict.fromkeys([f"field_{number}" for number in range(17)], "int")
        make: Any = type(_value.NamedTuple)
        with pytest.raises(ValueError, match="shorter than argument 1"):
            make("Row", (_value.NamedTuple,), {"__annotations__": fields})


class TestWhatIsWrittenLate:
    """The function of a class MUST be written once, for the class itself, however it is reached."""

    def test_by_a_class_below(self) -> None:
        kind, _, _ = _kinds(_value.dataclass, _value.field)

        class Below(kind):  # type: ignore[misc,valid-type]
            __slots__ = ()

            def __init__(self, name: str) -> None:
                super().__init__(name=f"{name}!")

        assert (Below("a").name, kind(name="b").name) == ("a!", "b")
        assert kind.__init__ is kind.__init__

    def test_by_a_row_below(self) -> None:
        kind = _rows(_value.NamedTuple)

        class Below(kind):  # type: ignore[misc,valid-type]
            pass

        assert (type(Below("a")), type(kind("a"))) == (Below, kind)
        assert kind.__new__ is kind.__new__
