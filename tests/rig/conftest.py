"""The lab's parts stand in scripts/, which is no package; they come last on the path, so that they hide nothing."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "scripts"))
