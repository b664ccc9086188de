"""A TOML table read strictly: keys are taken one by one with their types, and whatever is left over is a slip."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from typing import Any, TypeVar, cast

from netwatch.plan.rig import PlanError

T = TypeVar("T")
U = TypeVar("U")
_HEADER = re.compile(r"\s*\[\[?\s*([A-Za-z0-9_-]+)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"\s*\"?([A-Za-z0-9_-]+)\"?\s*=")


class Lines:
    """Where each key stands; nothing more is asked of the text, so unusual TOML just loses its line numbers."""

    def __init__(self, text: str) -> None:
        self._at: dict[tuple[str, int, str], int] = {}
        section, counts = "", {"": 1}
        for number, line in enumerate(text.splitlines(), 1):
            header, key = _HEADER.fullmatch(line), _KEY.match(line)
            if header:
                section = header[1]
                counts[section] = counts.get(section, 0) + 1
                self._at[section, counts[section], ""] = number
            elif key:
                self._at.setdefault((section, counts[section], key[1]), number)

    def of(self, section: str, index: int, key: str = "") -> int | None:
        return self._at.get((section, index, key))


class Table:
    """One table of the file; its keys are taken one by one, and none may be left."""

    def __init__(
        self, values: dict[str, Any], path: str, lines: Lines, section: str = "", index: int = 1, label: str = ""
    ) -> None:
        self._values, self._path, self._lines = dict(values), path, lines
        self._section, self._index, self._label = section, index, label
        self._known: list[str] = []

    def where(self, key: str = "") -> str:
        """'rig.toml, line 12'; the table's name where the line is not known."""
        lines = self._lines
        line = lines.of(self._section, self._index, key) or lines.of(self._section, self._index)
        line = lines.of(key, 1) if line is None and not self._section else line
        label = self._label or self._section
        return f"{self._path}, line {line}" if line else f"{self._path}, {label}" if label else self._path

    def error(self, key: str, complaint: str) -> PlanError:
        """At that key."""
        return PlanError(f"{self.where(key)}: {key} {complaint}.")

    def take(self, key: str, read: Callable[[Any], T], otherwise: U) -> T | U:
        """The key's value as ``read`` makes it; its ``ValueError`` becomes a sentence. Raises ``PlanError``."""
        self._known.append(key)
        if key not in self._values:
            return otherwise
        value = self._values.pop(key)
        try:
            return read(value)
        except ValueError as error:
            said = str(error)
            raise PlanError(f"{self.where(key)}, {key}: {said}{'' if said.endswith('?') else '.'}") from None

    def needed(self, key: str, read: Callable[[Any], T]) -> T:
        """The same of a key that must be there."""
        if key not in self._values:
            raise PlanError(f"{self.where()}: {self._label or f'[{self._section}]'} lacks its {key}; add {key} = ... there.")
        return cast(T, self.take(key, read, None))

    def tables(self, key: str) -> list[Table]:
        """[[key]], each."""
        found: list[dict[str, Any]] = self.take(key, _tables, [])
        return [Table(each, self._path, self._lines, key, n, f"[[{key}]] {n}") for n, each in enumerate(found, 1)]

    def table(self, key: str) -> Table | None:
        """[key]."""
        found = self.take(key, _table, None)
        return None if found is None else Table(found, self._path, self._lines, key, 1, f"[{key}]")

    def end(self) -> None:
        """Complain of the first key that nobody knows."""
        for key in self._values:
            near = difflib.get_close_matches(key.lower(), self._known, n=1)
            place = f" in {self._label}" if self._label else ""
            advice = f"did you mean '{near[0]}'?" if near else f"there are {', '.join(self._known)}."
            raise PlanError(f"{self.where(key)}: there is no key {key!r}{place}; {advice}")


def said(value: Any) -> str:
    """A value as the file has it, short."""
    text = repr(value) if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= 30 else text[:27] + "..."


def _tables(value: Any) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
        raise ValueError("takes tables; write its name in double brackets on a line of its own")
    return value


def _table(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError("takes one table; write its name in brackets on a line of its own")
    return value
