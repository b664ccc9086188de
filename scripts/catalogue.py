"""Writes the catalogue of alerts in README.md from the declarations that the alerts use.

    .venv/bin/python scripts/catalogue.py
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from netwatch import words  # noqa: E402
from netwatch.alerts.catalogue import RULES  # noqa: E402

README = ROOT / "README.md"
BEGIN, END = "<!-- catalogue: written by scripts/catalogue.py -->", "<!-- end of the catalogue -->"
PLACES = ("ordinary", "mirror", "wifi", "limited")


def main() -> int:
    """Exit code."""
    README.write_text(written(README.read_text(encoding="utf-8")), encoding="utf-8")
    return 0


def written(readme: str) -> str:
    """README with the catalogue between its two marks. ValueError where they are missing."""
    before, begin, rest = readme.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"README.md needs the lines '{BEGIN}' and '{END}'")
    return f"{before}{BEGIN}\n\n{catalogue()}\n{END}{after}"


def catalogue() -> str:
    """A table for each family, and one of what has no alert."""
    head = ["code", "what it says", *(words.VANTAGE[place].name for place in PLACES)]
    rule = ["---"] * len(head)
    parts = []
    for family, said in words.FAMILIES.items():
        rows = [_row(code) for code in said if code in RULES]
        parts.append("\n".join([f"**{family}**", "", *map(_line, [head, rule, *rows]), ""]))
    return "\n".join([*parts, _untold()])


def _untold() -> str:
    """What has no alert, with the reason and the alerts that tell of it in part."""
    rows = [[each.what, each.why, ", ".join(f"`{code}`" for code in each.see)] for each in words.UNTOLD]
    return "\n".join([f"**{words.NO_ALERT}**", "", *map(_line, [["what", "why", "see"], ["---"] * 3, *rows]), ""])


def _row(code: str) -> list[str]:
    sure = [RULES[code].certainty.get(place) for place in PLACES]
    return [f"`{code}`", words.title(code, {}), *("no" if each is None else words.CERTAINTY[each].word.lower() for each in sure)]


def _line(cells: list[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


if __name__ == "__main__":
    sys.exit(main())
