"""Story types as JSON and back. A field that an older writer lacked takes its default; one that we don't know is left out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from netwatch.decode.text import visible
from netwatch.record.sound import wrong

T = TypeVar("T")


class Unreadable(Exception):
    """What stands there can't be what it claims to be."""


def packed(value: Any) -> str:
    """A frozen dataclass (or plain values) as JSON, keys in order of the fields."""
    return json.dumps(_plain(value), separators=(",", ":"), ensure_ascii=False)


def loaded(text: str) -> Any:
    """What JSON says, its texts as safe to show as names from packets. Raises ``ValueError``, ``RecursionError``."""
    value = json.loads(text)
    return _visible(value) if "\\" in text or visible(text) != text else value


def _visible(value: Any) -> Any:
    if isinstance(value, dict):
        return {visible(key): _visible(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_visible(each) for each in value]
    return visible(value) if isinstance(value, str) else value


def unpacked(kind: type[T], text: str) -> T:
    """Raises ``Unreadable``."""
    try:
        value = loaded(text)
    except (ValueError, RecursionError):
        raise Unreadable(f"no {kind.__name__}") from None
    return made(kind, value)


def made(kind: type[T], value: Any) -> T:
    """A dataclass from the plain values of its fields. Raises ``Unreadable``."""
    if not isinstance(value, dict):
        raise Unreadable(f"no {kind.__name__}")
    hints, given = _hints(cast(Any, kind)), dict[str, Any]()
    for each in fields(kind):  # type: ignore[arg-type]
        if each.name in value:
            found = given[each.name] = _read(hints[each.name], value[each.name])
            if slip := wrong(kind.__name__, each.name, found):
                raise Unreadable(slip)
        elif each.default is MISSING and each.default_factory is MISSING:
            raise Unreadable(f"{kind.__name__} without {each.name}")
    return kind(**given)


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(each) for each in value)
    if hasattr(value, "tolist"):  # numbers of arrays
        return _plain(value.tolist())
    return value if value is None or isinstance(value, (bool, int, float, str)) else str(value)


def _read(hint: Any, value: Any) -> Any:
    origin, parts = get_origin(hint), get_args(hint)
    if origin in (UnionType, Union):
        if value is None and NoneType in parts:
            return None
        return _read(next(part for part in parts if part is not NoneType), value)
    if origin is tuple:
        return _tuple(parts, value)
    if origin is not None and issubclass(origin, Mapping):
        return _mapping(parts, value)
    if is_dataclass(hint):
        return made(hint, value)  # type: ignore[arg-type]
    if hint is float and isinstance(value, int):
        return float(value)
    if hint is not Any and (not isinstance(value, hint) or (hint is int and isinstance(value, bool))):
        raise Unreadable(f"{value!r} is no {hint.__name__}")
    return value


def _tuple(parts: tuple[Any, ...], value: Any) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise Unreadable("no list")
    if len(parts) == 2 and parts[1] is ...:
        return tuple(_read(parts[0], each) for each in value)
    if len(parts) != len(value):
        raise Unreadable("a list of another length")
    return tuple(_read(part, each) for part, each in zip(parts, value, strict=True))


def _mapping(parts: tuple[Any, ...], value: Any) -> dict[Any, Any]:
    if not isinstance(value, dict):
        raise Unreadable("no object")
    try:
        return {(int(key) if parts[0] is int else key): _read(parts[1], each) for key, each in value.items()}
    except ValueError:
        raise Unreadable("no number") from None
