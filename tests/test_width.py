"""No line of code is wider than the project's own limit: ``line-length`` in pyproject.toml, which ruff holds, too (E501)."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PRAGMA = re.compile(r"\s*# (?:type: ignore|noqa).*")
"""For a checker, at a line's end: as ruff has it, it doesn't count."""


def test_no_line_is_too_wide() -> None:
    most = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["ruff"]["line-length"]
    files = [path for place in ("netwatch", "scripts", "tests") for path in sorted((ROOT / place).rglob("*.py"))]
    wide = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in files
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if len(PRAGMA.sub("", line)) > most
    ]
    assert len(files) > 500
    assert not wide
