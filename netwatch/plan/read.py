"""Reads a plan, whatever form it has."""

from __future__ import annotations

from pathlib import Path

from netwatch.plan import sheet_file, toml_file
from netwatch.plan.rig import Plan


def read(path: Path) -> Plan:
    """A plan file (.toml), or a spreadsheet: .csv, .tsv, .txt, .xlsx. Raises ``PlanError``."""
    if path.suffix.lower() == ".toml":
        return toml_file.read(path, sheet_file.read)
    return sheet_file.read(path)
