"""Plays what ``scripts/fuzz.py`` kept, and the seeds: the project's own laws of any bytes (no outside source)."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from tests.fuzz.seeds import seeds
from tests.fuzz.targets import TARGETS

CORPUS = Path(__file__).parent / "corpus"


@pytest.mark.parametrize("target", TARGETS)
def test_what_was_found_reaches_its_end(target: str) -> None:
    with zipfile.ZipFile(CORPUS / f"{target}.zip") as packed:
        for name in packed.namelist():
            TARGETS[target](packed.read(name))


@pytest.mark.parametrize("target", ["capture", "frames", "plan", "journal"])
def test_seeds_reach_their_end(target: str) -> None:
    for data in seeds(target):
        TARGETS[target](data)
