"""Classes of values that cost little at start-up: every ``check`` imports those made here.

``dataclasses`` writes six functions of each class as text, has them compiled one by one, and
imports inspect: that was 30 of the 105 ms of a check. A class made here has one function written
for it and shares the text of the others. Its ``dataclasses.fields`` are those of a real dataclass,
which is made when somebody asks.

``typing.NamedTuple`` makes a type of each annotation, which was 7 ms in 100; one made here keeps
them as they are written.
"""

from __future__ import annotations

from collections import namedtuple
from operator import attrgetter, eq, ge, gt, le, lt
from sys import modules
from typing import Any, NoReturn

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

__all__ = ["NamedTuple", "dataclass", "field", "replace"]


class _Options(dict[str, Any]):
    """What ``field`` was told: the default of a field, whether it is compared and shown."""


class _Real:
    """An attribute of the real dataclass, which is made when somebody asks for the attribute."""

    def __init__(self, name: str, cls: type, options: dict[str, _Options], **how: bool) -> None:
        self._told = name, cls, options, how

    def __get__(self, _instance: object, owner: type) -> Any:
        import dataclasses

        name, cls, options, how = self._told
        body = {
            "__annotations__": cls.__annotations__,
            "__doc__": cls.__doc__,
            "__module__": cls.__module__,
            **{field: dataclasses.field(**told) for field, told in options.items()},
        }
        make = dataclasses.dataclass(frozen=True, slots=True, **how)
        answer = getattr(make(type(cls.__name__, (), body)), name)
        setattr(owner, name, answer)
        return answer


def _dataclass(
    *, frozen: bool, slots: bool, kw_only: bool = False, order: bool = False
) -> Callable[[type], type]:
    """Stand for ``dataclasses.dataclass``, for classes that are frozen and have slots."""
    if not (frozen and slots):
        raise TypeError("a class made here must be frozen and have slots")
    return lambda cls: _made(cls, kw_only, order)


def _replace(value: Any, /, **changes: Any) -> Any:
    """Stand for ``dataclasses.replace``, for values with slots."""
    kind = type(value)
    return kind(**{name: getattr(value, name) for name in kind.__slots__} | changes)


def _made(cls: type, kw_only: bool, order: bool) -> type:
    """Return the class anew, with slots and the functions of a frozen dataclass."""
    names = tuple(cls.__annotations__)
    body = dict(vars(cls))
    del body["__dict__"], body["__weakref__"]
    options = {name: _options(body.pop(name)) for name in names if name in body}
    nothing = _Options()
    functions = _functions(
        [name for name in names if options.get(name, nothing).get("compare", True)],
        [name for name in names if options.get(name, nothing).get("repr", True)],
        order,
    )
    # What a class defines itself stays, as in a dataclass.
    body |= {name: one for name, one in functions.items() if body.get(name) is None}
    for name in ("__dataclass_fields__", "__dataclass_params__"):
        body[name] = _Real(name, cls, options, kw_only=kw_only, order=order)
    body["__qualname__"] = cls.__qualname__
    body["__slots__"] = names
    body["__match_args__"] = () if kw_only else names
    made: Any = type(cls)(cls.__name__, cls.__bases__, body)
    made.__init__ = _init(made, options, kw_only)
    return made  # type: ignore[no-any-return]


def _options(value: object) -> _Options:
    return value if isinstance(value, _Options) else _Options(default=value)


def _init(made: Any, options: dict[str, _Options], kw_only: bool) -> Callable[..., None]:
    """Return ``__init__``: its text holds names only, and what they mean is handed in."""
    names = made.__slots__
    known = {f"_put_{name}": getattr(made, name).__set__ for name in names}
    known |= {f"_or_{name}": told["default"] for name, told in options.items() if "default" in told}
    parameters = [f"{name}=_or_{name}" if f"_or_{name}" in known else name for name in names]
    lines = [
        f"def _with({', '.join(known)}):",
        f" def __init__(self, {'*, ' if kw_only else ''}{', '.join(parameters)}):",
        *[f"  _put_{name}(self, {name})" for name in names],
        "  self.__post_init__()" if hasattr(made, "__post_init__") else "",
        " return __init__",
    ]
    local: dict[str, Any] = {}
    exec("\n".join(lines), vars(modules[made.__module__]), local)
    init: Any = local["_with"](**known)
    init.__qualname__ = f"{made.__qualname__}.__init__"
    init.__annotations__ = {**made.__annotations__, "return": "None"}
    return init  # type: ignore[no-any-return]


def _functions(compared: list[str], shown: list[str], order: bool) -> dict[str, Any]:
    """Return what the classes do besides ``__init__``."""
    key = attrgetter(*compared)

    def comparison(operator: Callable[[Any, Any], bool]) -> Callable[[Any, Any], Any]:
        def compare(self: object, other: object) -> Any:
            if other.__class__ is not self.__class__:
                return NotImplemented
            return operator(key(self), key(other))

        return compare

    def look(self: object) -> str:
        fields = ", ".join([f"{name}={getattr(self, name)!r}" for name in shown])
        return f"{self.__class__.__qualname__}({fields})"

    functions = {
        "__eq__": comparison(eq),
        "__hash__": lambda self: hash(key(self)),
        "__repr__": look,
        "__setattr__": lambda _self, name, _value: _refuse("assign to", name),
        "__delattr__": lambda _self, name: _refuse("delete", name),
        "__getstate__": lambda self: [getattr(self, name) for name in self.__slots__],
        "__setstate__": _restore,
    }
    if order:
        functions |= {f"__{one.__name__}__": comparison(one) for one in (lt, le, gt, ge)}
    return functions


def _refuse(verb: str, name: str) -> NoReturn:
    from dataclasses import FrozenInstanceError

    raise FrozenInstanceError(f"cannot {verb} field {name!r}")


def _restore(self: object, state: Iterable[object]) -> None:
    for name, value in zip(self.__class__.__slots__, state, strict=True):  # type: ignore[attr-defined]
        object.__setattr__(self, name, value)


def _field(**told: Any) -> Any:
    """Stand for ``dataclasses.field``: ``default``, ``compare`` and ``repr`` are known here."""
    return _Options(told)


class _NamedTupleMeta(type):
    """Makes named tuples of the classes below ``_NamedTuple``."""

    def __new__(cls, name: str, bases: tuple[type, ...], body: dict[str, Any]) -> Any:
        if not bases:
            return super().__new__(cls, name, bases, body)
        fields = body.pop("__annotations__")
        defaults = [body.pop(one) for one in fields if one in body]
        make: Any = namedtuple  # Type checkers know it with literal names only.
        made = make(name, fields, defaults=defaults, module=body.pop("__module__"))
        made.__annotations__ = made.__new__.__annotations__ = fields
        for key, value in body.items():
            setattr(made, key, value)
        return made


class _NamedTuple(metaclass=_NamedTupleMeta):
    """Stand for ``typing.NamedTuple``, for classes without another base."""


if TYPE_CHECKING:
    from dataclasses import dataclass, field, replace
    from typing import NamedTuple
else:
    dataclass, field, replace = _dataclass, _field, _replace
    NamedTuple = _NamedTuple
