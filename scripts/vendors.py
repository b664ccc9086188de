"""Make netwatch/network/vendors.xz from the IEEE registry files, as Debian's package ieee-data ships them.

    python3 scripts/vendors.py [FOLDER]        default: /usr/share/ieee-data

Run it when the registry has a newer list; commit both changed files.
"""

from __future__ import annotations

import csv
import lzma
import re
import sys
from datetime import UTC, datetime
from pathlib import Path

FOLDER = Path("/usr/share/ieee-data")
FILES = ("oui.csv", "mam.csv", "oui36.csv", "iab.csv")
NAMELESS = {"Private", "IEEE Registration Authority"}
"""Assignments that name nobody: kept secret, or cut up into longer prefixes."""
NETWORK = Path(__file__).resolve().parent.parent / "netwatch" / "network"


def read(folder: Path) -> dict[str, str]:
    """Lower-case hex prefix to the registered name; of a prefix listed twice, the first."""
    names: dict[str, str] = {}
    for name in FILES:
        with (folder / name).open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                names.setdefault(row["Assignment"].lower(), " ".join(row["Organization Name"].split()))
    return {prefix: name for prefix, name in names.items() if name and name not in NAMELESS}


def date(folder: Path) -> str:
    """The day the registry was fetched."""
    stamp = folder / ".lastupdate"
    seconds = int(stamp.read_text()) if stamp.exists() else int((folder / FILES[0]).stat().st_mtime)
    return datetime.fromtimestamp(seconds, UTC).date().isoformat()


def pack(names: dict[str, str]) -> bytes:
    """One line 'prefix name' each, in order of the prefix, compressed."""
    return lzma.compress("\n".join(f"{prefix} {names[prefix]}" for prefix in sorted(names)).encode(), preset=9)


def main() -> str | None:
    """Write the list and its date; a sentence if that fails."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    if lacking := [name for name in FILES if not (folder / name).is_file()]:
        return f"{folder} has no {', '.join(lacking)}; install Debian's package ieee-data or name another folder."
    names, packed = read(folder), NETWORK / "vendors.xz"
    packed.write_bytes(pack(names))
    module = NETWORK / "vendors.py"
    code = re.sub(r'^LIST_DATE = ".*"$', f'LIST_DATE = "{date(folder)}"', module.read_text(encoding="utf-8"), flags=re.MULTILINE)
    module.write_text(code, encoding="utf-8")
    print(f"{len(names):,} prefixes as of {date(folder)} in {packed.stat().st_size:,} bytes")
    return None


if __name__ == "__main__":
    sys.exit(main())
