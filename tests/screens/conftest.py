"""Screens are drawn in UTC, without NO_COLOR unless a test sets it."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True)
def still(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The same picture on every machine."""
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.delenv("NO_COLOR", raising=False)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()
