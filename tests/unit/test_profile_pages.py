"""The generated pages are what the generator makes, and their drawings are right."""

from __future__ import annotations

import pytest

from safeframe import frame
from safeframe import protocols as profiles
from tests.generators import profile_pages as generator


def test_pages_are_what_the_generator_makes() -> None:
    made = generator.pages()
    assert sorted(made) == sorted(path.name for path in generator.PAGES.glob("*.md"))
    for name, text in made.items():
        written = (generator.PAGES / name).read_text(encoding="utf-8")
        assert written == text, "run tests/generators/profile_pages.py"


@pytest.mark.parametrize("name", [name for name in profiles.names() if name != "plain"])
def test_every_kind_of_frame_is_drawn(name: str) -> None:
    text = generator.page(profiles.load(name))
    drawn = [kind for kind in profiles.load(name).frames if kind.name != "parameters"]
    assert text.count("```text") == len(drawn)


def test_a_drawing_names_every_octet_once() -> None:
    where = frame.layout("fscp-12-1", 8)
    lines = generator.diagram(where)
    numbers = " ".join(lines[0::4]).split()
    assert numbers == [str(at) for at in range(where.size_octets)]
    assert lines[2].startswith("| command |")
    for line in lines[1::4] + lines[2::4] + lines[3::4]:
        assert len(line) in {len(lines[1]), len(lines[5])}
