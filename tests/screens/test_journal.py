"""A journal on the screens: what it lacks is said, and no key offers what it can't do. The rest is our own."""

from __future__ import annotations

from pathlib import Path

from screen_helpers import seen

from netwatch.commands.opened import Opened
from netwatch.packets.files import open_captures
from netwatch.screens.app import NetwatchApp
from netwatch.words import record as words
from tests.record.fed import session

DEMO = Path(__file__).resolve().parents[2] / "captures" / "01-first-evening.pcapng.gz"


async def test_a_finished_journal(tmp_path: Path) -> None:
    run = session(open_captures([DEMO]), tmp_path)
    run.start()
    run.wait(None)
    run.stop()
    source = Opened(tmp_path / "journal.sqlite")
    tool = NetwatchApp(source)
    async with tool.run_test(size=(80, 24)) as pilot:
        await seen(pilot, words.JOURNAL_ENDED)
        await seen(pilot, "Two DHCP servers seen")
        assert not any(tool.check_action(each, ()) for each in ("mark", "join", "known", "phase", "jump", "go"))
        tool.open(("universe", "eth0", None, "e131", 1))
        await seen(pilot, "A journal keeps no levels")
        tool.open(("why", "e131", 1, None))
        await seen(pilot, "A journal does not keep what this takes")
        number = next(each.packets[0] for each in source.snapshot().alerts if each.code == "two-dhcp-servers")
        tool.open(("packet", number))
        await seen(pilot, "octets 1-6")
