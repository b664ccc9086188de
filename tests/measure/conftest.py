"""What the benches are made of stands in scripts/, which is no package; it comes last on the path, so that it hides nothing."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "scripts"))
