"""Plain values that never change, made by the thousand."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def record(cls: type[T]) -> type[T]:
    """A frozen dataclass, as mypy holds it; one that is frozen at run time, too, takes four times as long to make."""
    return dataclass(slots=True, unsafe_hash=True)(cls)
