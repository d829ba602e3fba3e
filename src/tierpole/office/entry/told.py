"""Texts that can be said in another language: a pattern, and what stands in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping


class Told(str):
    """A text in English that knows how it was put together, so that it can be said otherwise."""

    __slots__ = ("parts", "pattern")
    pattern: str
    parts: Mapping[str, str]

    def __new__(cls, pattern: str, **parts: str) -> Told:
        """A text by its pattern; parts that are texts of this kind are translated as well."""
        told = super().__new__(cls, pattern.format(**parts))
        told.pattern, told.parts = pattern, parts
        return told

    def said(self, t: Callable[[str], str]) -> str:
        """The text as `t` says it."""
        parts = {
            key: part.said(t) if isinstance(part, Told) else part
            for key, part in self.parts.items()
        }
        return t(self.pattern).format(**parts)

    def patterns(self) -> Iterator[str]:
        """Every pattern it is made of, for a catalogue."""
        yield self.pattern
        for part in self.parts.values():
            if isinstance(part, Told):
                yield from part.patterns()
