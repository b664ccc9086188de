"""One contradiction in a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Problem:
    """``code`` is a key of ``words.plan_checks.CHECKS``; ``severity`` soon, tidy or note."""

    code: str
    severity: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    origins: tuple[str, ...] = ()
    """Where it stands in the plan's files."""
