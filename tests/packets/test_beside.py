"""Keeping in a thread of its own: the same file, also from a disk that pauses, and one sentence where it can't go on."""

from __future__ import annotations

import threading
from contextlib import closing
from pathlib import Path

import pytest

from netwatch.packets import beside
from netwatch.packets.batch import BatchBuilder, Item, PacketBatch, Port
from netwatch.packets.beside import KeptBeside
from netwatch.packets.files import CaptureError, open_captures
from netwatch.packets.keep import Keeper
from tests.packets.made import START, only_rows

PORT = Port("enp1s0", 1)


def batches(count: int) -> list[PacketBatch]:
    builder, out = BatchBuilder((PORT,)), []
    for n in range(count):
        builder.add(n.to_bytes(4, "big") * 20, START + n)
        out.append(builder.take())
    return out


class Disk(Keeper):
    """One that stops before each item until it is let go on, and is full at the ``full``th."""

    def __init__(self, path: Path, full: int = 1 << 30) -> None:
        super().__init__(path)
        self.go_on, self.left = threading.Event(), full

    def write(self, item: Item, comments: object = None) -> None:
        self.go_on.wait(60)
        self.left -= 1
        if self.left < 0:
            raise CaptureError("Writing stopped (No space left on device).")
        super().write(item)


def test_a_disk_that_pauses_holds_nobody_up_and_loses_nothing(tmp_path: Path) -> None:
    disk = Disk(tmp_path / "rig.pcapng")
    with closing(KeptBeside(disk)) as keeper:
        for item in batches(50):
            keeper.write(item)
        assert disk.size < 1_000  # nothing but the header was written yet
        disk.go_on.set()
    kept = only_rows(open_captures([tmp_path / "rig.pcapng"]))
    assert [row[2] for row in kept] == [item.packet(0) for item in batches(50)]
    assert keeper.problem is None


def test_where_much_waits_whoever_listens_waits_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    items = batches(20)
    monkeypatch.setattr(beside, "MOST_WAITING", items[0].data.nbytes * 3)
    disk, done = Disk(tmp_path / "rig.pcapng"), threading.Event()
    keeper = KeptBeside(disk)

    def listen() -> None:
        for item in items:
            keeper.write(item)
        done.set()

    threading.Thread(target=listen, daemon=True).start()
    assert not done.wait(0.2)
    disk.go_on.set()
    assert done.wait(60)
    keeper.close()
    assert len(only_rows(open_captures([tmp_path / "rig.pcapng"]))) == 20


def test_a_full_disk_is_told_at_the_next_item_and_at_the_end(tmp_path: Path) -> None:
    disk = Disk(tmp_path / "rig.pcapng", full=2)
    keeper, (one, two, three, four) = KeptBeside(disk), batches(4)
    for item in (one, two, three):
        keeper.write(item)
    disk.go_on.set()
    keeper._thread.join(60)
    with pytest.raises(CaptureError, match="No space left"):
        keeper.write(four)
    keeper.close()
    assert keeper.problem == "Writing stopped (No space left on device)."
    assert len(only_rows(open_captures([tmp_path / "rig.pcapng"]))) == 2
