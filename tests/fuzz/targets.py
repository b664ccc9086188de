"""What is fuzzed: each target takes any bytes and must end quietly; what must hold of what came of them is asserted.

``scripts/fuzz.py`` looks for bytes that break one; ``test_corpus.py`` plays what it kept.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Callable, Iterable
from itertools import pairwise
from pathlib import Path
from random import Random
from unittest.mock import patch
from zlib import crc32

from textual.geometry import Size

from netwatch.decode.columns import decode
from netwatch.decode.tables import E131
from netwatch.network.history import Look
from netwatch.numbers import DEFAULTS
from netwatch.packets import reader
from netwatch.packets.batch import FileSeen, Item, Mark, PacketBatch
from netwatch.packets.files import CaptureError, _open_reader, open_captures
from netwatch.packets.stream import DamageError
from netwatch.plan import sheet_file, toml_file
from netwatch.plan.check import problems
from netwatch.plan.expectation import expectation
from netwatch.plan.make import made
from netwatch.plan.rig import PlanError
from netwatch.plan.write import text
from netwatch.record.readback import read
from netwatch.record.schema import JournalError
from netwatch.report import data, for_it, glance, page, plan_sheet, rental
from netwatch.report import levels as level_report
from netwatch.report import plan as plan_report
from netwatch.report import text as text_report
from netwatch.report.brief import Job
from netwatch.screens import boxes, evening, first, light, pages
from netwatch.screens.looks import DARK
from netwatch.story.document import document
from netwatch.story.evening import Evening
from netwatch.story.play import Player
from netwatch.story.snapshot import Snapshot
from netwatch.words.hidden import HIDDEN
from tests.decode.laws import check, columns
from tests.stories.playing import difference, picture
from tests.story.test_cuts import NARROW
from tests.test_injection import texts

OBEYED = re.compile(f"[{HIDDEN}]")
FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))
MOST_ROWS = 60
"""Packets of one input that are folded: more finds nothing new and takes long."""
MOST_PAGES = 4
"""Of alerts by themselves: all would take long."""
SIZES = (Size(37, 20), Size(78, 20), Size(138, 36))
JOB = Job("lantern walk", "stage left", "dimmer room")


def chance_of(data: bytes) -> Random:
    """The same choices whenever these bytes come."""
    return Random(crc32(data))


def file_of(data: bytes, name: str) -> Path:
    """A file that holds them."""
    path = FOLDER / name
    path.write_bytes(data)
    return path


def sentence(said: str) -> None:
    """What people are told is one line that a terminal can show."""
    assert said.strip(), said
    assert not OBEYED.search(said), said


# ---- capture files ----


def capture(data: bytes) -> None:
    """A reader ends with packets or a sentence; the size of its blocks, guesses and a second file beside it change nothing."""
    path = str(file_of(data, "any.pcap"))
    chance = chance_of(data)
    whole = _read(path, 1 << 18)
    with patch.object(reader, "WORTH", 0):
        assert whole == _read(path, chance.choice((24, 40, 100, 1_000)))
    try:
        source = open_captures([path, path] if chance.random() < 0.3 else [path])
    except CaptureError as error:
        return sentence(str(error))
    rows = sum(item.rows for item in source if isinstance(item, PacketBatch))
    assert rows == len(source.files) * sum(isinstance(row, tuple) and isinstance(row[0], bytes) for row in whole)
    for file in source.files:
        sentence(file.problem or "none")
    return None


def _read(path: str, block: int) -> list[object]:
    """Each packet and mark of a file, and how it ends."""
    out: list[object] = []
    try:
        reader = _open_reader(path, block)
    except CaptureError as error:
        return [str(error)]
    try:
        for item in reader:
            out += [item] if isinstance(item, Mark) else _rows(item)
    except DamageError as error:
        sentence(str(error))
        out.append(str(error))
    finally:
        reader.stream.close()
    return [(each.time, each.port, each.received, each.facts) if isinstance(each, Mark) else each for each in out]


def _rows(item: PacketBatch) -> list[object]:
    numbers = (item.time.tolist(), item.port.tolist(), item.direction.tolist(), item.wirelen.tolist())
    assert (item.caplen <= item.wirelen).all()
    return [(item.packet(row), *each) for row, each in enumerate(zip(*numbers, strict=True))]


# ---- frames ----


def items_of(data: bytes) -> list[Item]:
    """What a capture of these bytes holds, as far as it can be read."""
    try:
        source = open_captures([file_of(data, "frames.pcap")])
    except CaptureError:
        return []
    out: list[Item] = []
    left = MOST_ROWS
    for item in source:
        if left <= 0:
            break
        out.append(item if isinstance(item, Mark) else item.part(0, min(item.rows, left)))
        left -= 1 if isinstance(item, Mark) else item.rows
    source.close()
    return out


def frames(data: bytes) -> None:
    """Every decoder: honest tables, and the same ones when a batch is cut in two."""
    for item in items_of(data):
        if isinstance(item, PacketBatch) and item.rows:
            whole = decode(item)
            check(item, whole)
            at = chance_of(data).randrange(item.rows + 1)
            parts = [decode(item.part(*ends)) for ends in ((0, at), (at, item.rows))]
            kinds = [kind for part in parts for kind in part.frames.kind.tolist()]
            assert kinds == whole.frames.kind.tolist()
            for name in ("levels", "syncs", "arps", "rare", "broken"):
                tables = [columns(getattr(each, name)) for each in (whole, *parts)]
                assert all(len(tables[0][key]) == len(tables[1][key]) + len(tables[2][key]) for key in tables[0])


# ---- the whole pipeline ----


def fold(data: bytes) -> None:
    """Fold, document, text, pages, screens: nothing raises, names move nothing, and cuts change nothing."""
    items, chance = items_of(data), chance_of(data)
    numbers = chance.choice((DEFAULTS, NARROW))
    look = chance.choice((None, Look(E131, 1, 1, 20)))
    phase = chance.choice(("building", "show"))
    whole, cut = (Player(numbers, look=look, phase=phase) for _ in range(2))
    for item in items:
        whole.feed(item)
    whole.finish()
    if chance.random() < 0.3:  # it takes as long as all the rest
        for item in items:
            for part in _cut(item, chance):
                cut.feed(part)
        cut.finish()
        assert not difference(picture(whole), picture(cut))
    course = whole.course.view(whole.network, whole.clock.now or 0)
    told(Evening(whole.snapshot(), [FileSeen("night.pcap", 1, 1)], course, {}, {}), chance)


def _cut(item: Item, chance: Random) -> Iterable[Item]:
    if isinstance(item, Mark) or not item.rows:
        return [item]
    ends = sorted({0, item.rows, *(chance.randrange(item.rows) for _ in range(chance.choice((1, 1, 3))))})
    return [item.part(low, high) for low, high in pairwise(ends)]


def told(night: Evening, chance: Random) -> None:
    """Every form in which a story is told: printable, and whole text for any encoder."""
    snapshot = night.snapshot
    width = chance.choice((40, 80, 110))
    written = [text_report.render(snapshot, night.files, width=width)]
    if snapshot.levels is not None:
        written.append(level_report.render(snapshot, night.files, width=width))
    for shown in written:
        assert not OBEYED.search(shown.replace("\n", ""))
    plain = json.loads(json.dumps(document(snapshot, night.files), allow_nan=False))
    assert not [text for text in texts(plain) if OBEYED.search(text)]
    _screens(snapshot, chance.choice(SIZES))
    paper(night, chance)


def paper(night: Evening, chance: Random) -> None:
    """What is written of a whole session."""
    json.dumps(data.data(night, JOB), allow_nan=False)
    draw = chance.choice((page.page, rental.page, for_it.page, None))
    html = glance.page(night.snapshot) if draw is None else draw(night, JOB)
    assert not OBEYED.search(html.replace("\n", ""))
    assert "<script" not in html


def _screens(snapshot: Snapshot, size: Size) -> None:
    alone = [pages.alert_page(each, snapshot, DARK) for each in snapshot.alerts[:MOST_PAGES]]
    lists = [view.rows(snapshot, size, DARK) for view in (first, light, boxes, evening)]
    for rows in [*lists, *(each.rows(size) for each in alone)]:
        for row in rows:
            for line in row.draw():
                assert not OBEYED.search(line.plain.replace("\n", "")), line.plain


# ---- files that people write ----


def plan(data: bytes) -> None:
    """A plan file of any form is read, checked, completed, printed and written to be read again; or refused in a sentence."""
    for name, reading in (("any.toml", toml_file.read), ("any.csv", sheet_file.read)):
        if name.endswith("toml") and data.startswith(b"PK"):
            continue
        path = file_of(data, name)
        try:
            found = reading(path, sheet_file.read) if reading is toml_file.read else sheet_file.read(path)
        except PlanError as error:
            sentence(str(error))
            continue
        for remark in found.remarks:
            sentence(remark)
        whole, steps = made(found, DEFAULTS)
        shown = plan_report.checked(found, name, problems(found, DEFAULTS), DEFAULTS, width=80)
        shown += plan_report.proposed(found, name, steps, width=80)
        assert not OBEYED.search(shown.replace("\n", ""))
        for html in (plan_sheet.page(whole, name), plan_sheet.page_for_it(whole, name, DEFAULTS)):
            html.encode()
            assert "<script" not in html
        expectation(found)
        again = toml_file.read(file_of(text(whole).encode(), "again.toml"), sheet_file.read)
        assert len(again.devices) == len(whole.devices)


def journal(data: bytes) -> None:
    """A journal that a stranger wrote is told like one of ours, or refused in a sentence."""
    for beside in FOLDER.glob("any.sqlite*"):
        beside.unlink()
    try:
        night = read(file_of(data, "any.sqlite"))
    except JournalError as error:
        return sentence(str(error))
    return told(night, chance_of(data))


TARGETS: dict[str, Callable[[bytes], None]] = {
    "capture": capture, "frames": frames, "fold": fold, "plan": plan, "journal": journal,
}  # fmt: skip
