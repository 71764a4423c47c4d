"""The lists of docs/embedding.md: every public module, value and attribute.

``python -m tests.generators.api_page`` writes them anew between the two marks of the page;
``--freeze`` pins the names, for a release that adds or drops some on purpose.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
PAGE = ROOT / "docs" / "embedding.md"
BEGIN = "<!-- written by python -m tests.generators.api_page -->\n"
END = "<!-- end of the written part -->\n"


def modules() -> list[str]:
    """Return the public modules: every one below ``safeframe`` without an underscore."""
    found = ["safeframe"]
    for path in sorted((ROOT / "safeframe").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        if parts[-1] == "__init__":
            parts = parts[:-1]
        if len(parts) > 1 and not any(part.startswith("_") for part in parts):
            found.append(".".join(parts))
    return found


def names_of(module: str) -> list[str]:
    """Return the public names of a module."""
    names: list[str] = importlib.import_module(module).__all__
    return names


def attributes(cls: type) -> list[str]:
    """Return the attributes a user may read: fields in their order, then properties."""
    found: list[str] = []
    if dataclasses.is_dataclass(cls):
        found += [one.name for one in dataclasses.fields(cls) if not one.name.startswith("_")]
    found += [name for name in getattr(cls, "_fields", ()) if name not in found]
    for owner in reversed(cls.__mro__):
        if not owner.__module__.startswith("safeframe"):
            continue
        found += [
            name
            for name, value in vars(owner).items()
            if not name.startswith("_")
            and name not in found
            and (isinstance(value, property) or inspect.ismemberdescriptor(value))
        ]
        if not dataclasses.is_dataclass(owner) and not hasattr(owner, "_fields"):
            found += [
                name
                for name in vars(owner).get("__annotations__", {})
                if not name.startswith("_") and name not in found
            ]
    return found


def methods(cls: type) -> list[str]:
    """Return the methods of a class that are defined in the package."""
    found: list[str] = []
    for owner in reversed(cls.__mro__):
        if owner.__module__.startswith("safeframe"):
            found += [
                name
                for name, value in vars(owner).items()
                if not name.startswith("_")
                and name not in found
                and isinstance(value, classmethod | staticmethod | type(modules))
            ]
    return found


def referenced() -> Iterator[tuple[str, str]]:
    """Yield (public name, class of the package that its annotations name)."""
    for module in modules():
        for name in names_of(module):
            value = getattr(importlib.import_module(module), name)
            for text, space in annotated(value):
                for word in re.findall(r"[A-Z]\w+", text):
                    cls = space.get(word)
                    if inspect.isclass(cls) and cls.__module__.startswith("safeframe"):
                        yield f"{module}.{name}", f"{cls.__module__}.{cls.__qualname__}"


def annotated(value: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the annotations of a class or a function, with the names of its module."""
    if inspect.isclass(value):
        for owner in value.__mro__:
            if owner.__module__.startswith("safeframe"):
                space = vars(sys.modules[owner.__module__])
                for text in vars(owner).get("__annotations__", {}).values():
                    yield str(text), space
                for name, member in vars(owner).items():
                    inner = member.fget if isinstance(member, property) else member
                    if inspect.isfunction(inner) and not name.startswith("_"):
                        yield from annotated(inner)
    elif inspect.isfunction(value):
        space = vars(sys.modules[value.__module__])
        for text in value.__annotations__.values():
            yield str(text), space


def public_classes() -> set[str]:
    """Return every class that a public name stands for."""
    return {
        f"{value.__module__}.{value.__qualname__}"
        for module in modules()
        for name in names_of(module)
        if inspect.isclass(value := getattr(importlib.import_module(module), name))
    }


def first_line(value: Any) -> str:
    """Return the first line of the docstring, without its full stop."""
    return (inspect.getdoc(value) or "").partition("\n")[0].removesuffix(".")


def section(module: str) -> list[str]:
    """Return the part of the page about one module."""
    found = importlib.import_module(module)
    lines = [f"### `{module}`", "", f"{first_line(found)}.", ""]
    classes: list[tuple[str, Any]] = []
    functions: list[tuple[str, Any]] = []
    others: list[tuple[str, Any]] = []
    for name in names_of(module):
        value = getattr(found, name)
        if inspect.ismodule(value):
            continue
        kind = classes if inspect.isclass(value) else functions if callable(value) else others
        kind.append((name, value))
    if functions:
        lines += ["| function | what it does |", "|---|---|"]
        lines += [f"| `{name}` | {cell(first_line(value))} |" for name, value in functions]
        lines.append("")
    if classes:
        lines += ["| value | what it is | attributes | methods |", "|---|---|---|---|"]
        lines += [
            f"| `{name}` | {cell(first_line(value))} | {listed(attributes(value))} "
            f"| {listed(methods(value))} |"
            for name, value in classes
        ]
        lines.append("")
    if others:
        lines += [f"Constants: {listed([name for name, _ in others])}.", ""]
    return lines


def cell(text: str) -> str:
    return text.replace("|", "\\|")


def listed(names: list[str]) -> str:
    return " ".join(f"`{name}`" for name in names) or "—"


def page() -> str:
    """Return the whole page, the written part anew."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    after = rest.partition(END)[2]
    lines = [line for module in modules() for line in section(module)]
    return before + BEGIN + "\n" + "\n".join(lines) + END + after


def pinned() -> str:
    """Return the text of tests/data/public_names.txt: a module and its sorted names a line."""
    return "".join(" ".join([module, *sorted(names_of(module))]) + "\n" for module in modules())


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
    if sys.argv[1:] == ["--freeze"]:
        (ROOT / "tests" / "data" / "public_names.txt").write_text(pinned(), encoding="utf-8")
