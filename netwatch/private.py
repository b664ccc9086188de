"""Folders that are for their owner alone, whatever the user's file mode mask says."""

from __future__ import annotations

from pathlib import Path


def folder(path: Path) -> None:
    """Make it, and the folders above it that are missing. Raises ``OSError``."""
    for each in reversed([path, *path.parents]):
        if not each.exists():
            each.mkdir(mode=0o700, exist_ok=True)
