"""Texts by their ids, in the language asked for, as GSDML and IODD keep them."""

from __future__ import annotations

from collections.abc import Mapping

from ._refusals import Refusals, shown, twice
from ._xml import Element


def in_language(
    names: Mapping[str, str], language: str, english: str, line: int, refusals: Refusals
) -> str:
    """Return the name in a language, without one that in English, of none, or the only one."""
    if language:
        if names and language not in names:
            refusals.add(
                "dangling-reference",
                line,
                f"a name must be there in language {shown(language)}, not only in "
                f"{', '.join(sorted(shown(tag or 'no language') for tag in names))}",
                f"--language {next(iter(names)) or 'TAG'}",
            )
        return names.get(language, "")
    for tag in (english, ""):
        if tag in names:
            return names[tag]
    if len(names) > 1:
        refusals.add(
            "ambiguous-language",
            line,
            f"the language of the names must be chosen: {', '.join(sorted(map(shown, names)))}",
            f"--language {next(iter(names))}",
        )
    return next(iter(names.values()), "")


class Texts:
    """The texts of one language; a missing one is a problem at the element that wants it."""

    def __init__(
        self, root: Element, keys: tuple[str, str], language: str, refusals: Refusals
    ) -> None:
        self.refusals = refusals
        self.texts: dict[str, str] = {}
        id_key, value_key = keys
        lists = list(root.walk("PrimaryLanguage", "Language"))
        known = [one.get("lang") or "" for one in lists]
        if language and language not in known:
            tags = ", ".join(shown(tag) for tag in known if tag)
            refusals.stop(
                "dangling-reference",
                lists[0].line if lists else root.line,
                f"the texts must be there in language {shown(language)}"
                + (f", not only in {tags}" if tags else ""),
                "leave --language out to take the primary one",
            )
        first: dict[str, int] = {}
        for one, tag in zip(lists, known, strict=True):
            if tag == language if language else one.tag == "PrimaryLanguage":
                for text in one.all("Text"):
                    key, value = text.get(id_key) or "", text.get(value_key) or ""
                    if self.texts.setdefault(key, value) != value:
                        twice(refusals, "a text", key, (first[key], text.line))
                    first.setdefault(key, text.line)

    def of(self, key: str | None, line: int, element: str) -> str:
        """Return a text; an empty one without an id, or after keeping the problem."""
        if key is None:
            return ""
        if key not in self.texts:
            self.refusals.add(
                "dangling-reference",
                line,
                f"a text must be in the file, not only its id {shown(key)}",
                "--language TAG, where the texts of another language hold it",
                element,
            )
            return shown(key)
        return self.texts[key]
