"""A dictionary of declared things that refuses duplicates and helps with mistyped names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Generic, TypeVar

from envpredict.core.errors import UnknownName
from envpredict.core.words import suggestion

T = TypeVar("T")


class Registry(Mapping[str, T], Generic[T]):
    """Names to things, sorted by name; adding a name twice is an error."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self._things: dict[str, T] = {}

    def add(self, name: str, thing: T) -> T:
        """Add a thing under a new name and return it."""
        if name in self._things:
            raise ValueError(f"{self.kind} '{name}' is declared twice")
        self._things[name] = thing
        return thing

    def __getitem__(self, name: str) -> T:
        try:
            return self._things[name]
        except KeyError:
            raise UnknownName(f"unknown {self.kind} '{name}'", suggestion(name, self._things)) from None

    def __contains__(self, name: object) -> bool:
        return name in self._things

    def __iter__(self) -> Iterator[str]:
        return iter(sorted(self._things))

    def __len__(self) -> int:
        return len(self._things)
