"""The captures that are measured on are what they are called, else the benches tell nothing. dpkt counts beside us."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from measure import captures, readers

from netwatch.decode.columns import decode
from netwatch.decode.tables import Decoded, Kind
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import PacketBatch
from netwatch.packets.files import open_captures
from netwatch.story.play import Player

SECONDS = 5


def decoded(path: Path) -> list[tuple[PacketBatch, Decoded]]:
    return [(item, decode(item)) for item in open_captures([str(path)]) if isinstance(item, PacketBatch)]


def test_the_mixed_capture_is_mixed(tmp_path: Path) -> None:
    packets = captures.save(tmp_path / "mixed.pcap", captures.mixed(SECONDS))
    found, kinds, lengths = decoded(tmp_path / "mixed.pcap"), Counter[int](), set[int]()
    for _, tables in found:
        kinds.update(tables.frames.kind.tolist())
        lengths.update(tables.levels.slots.tolist())
        assert not len(tables.broken.row)
        assert not tables.undecoded
    assert sum(kinds.values()) == packets == readers.with_dpkt(tmp_path / "mixed.pcap")
    records = sum(kinds[kind] for kind in (Kind.DHCP, Kind.IGMP, Kind.ARTNET_POLL))
    assert 0.015 <= records / packets <= 0.02
    assert kinds[Kind.E131_DATA] == 64 * 44 * SECONDS
    assert {kinds[kind] > 0 for kind in (Kind.ARP, Kind.OTHER_IP, Kind.ARTNET_LEVELS, Kind.DHCP, Kind.IGMP)} == {True}
    assert lengths == {512, 510, 300, 120}


def test_one_packet_in_a_hundred_of_it_changed_places_with_the_next() -> None:
    swapped, straight = list(captures.mixed(SECONDS)), list(captures.mixed(SECONDS, reordered=0))
    assert [at for at, _ in swapped] == [at for at, _ in straight]
    assert sorted(frame for _, frame in swapped) == sorted(frame for _, frame in straight)
    moved = sum(one != other for one, other in zip(swapped, straight, strict=True))
    assert 0.015 < moved / len(straight) <= 0.02


def test_light_is_the_same_however_it_was_made(tmp_path: Path) -> None:
    quick = captures.save_light(tmp_path / "quick.pcap", 3, 50)
    plain = captures.save(tmp_path / "plain.pcap", captures.few(3, 50))
    assert quick == plain
    pairs = zip(decoded(tmp_path / "quick.pcap"), decoded(tmp_path / "plain.pcap"), strict=True)
    for (one, tables), (other, others) in pairs:
        assert tables.levels.sequence.tolist() == others.levels.sequence.tolist()
        assert tables.levels.universe.tolist() == others.levels.universe.tolist()
        for at, place in zip(tables.levels.at.tolist(), others.levels.at.tolist(), strict=True):
            assert one.data[at : at + 512].tobytes() == other.data[place : place + 512].tobytes()


def test_a_file_that_is_read_again_goes_on_without_a_gap(tmp_path: Path) -> None:
    """E1.31-2018 6.7.2: no number is missing, none comes late."""
    packets = captures.save_light(tmp_path / "light.pcap", 2, captures.CYCLE)
    player = Player(DEFAULTS)
    for item in readers.again(tmp_path / "light.pcap", 3, captures.CYCLE / 44):
        player.feed(item)
    player.finish()
    streams = player.network.streams
    assert player.network.packets == 3 * packets
    assert streams.packets[:2].tolist() == [3 * captures.CYCLE] * 2
    assert streams.single_steps[:2].tolist() == [3 * captures.CYCLE - 1] * 2
    assert not player.judge.engine.alerts()


def test_where_two_fight_over_each_universe_it_is_told(tmp_path: Path) -> None:
    captures.save_light(tmp_path / "fought.pcap", 4, 6 * 44, sources=2)
    player = Player(DEFAULTS)
    for item in open_captures([str(tmp_path / "fought.pcap")]):
        player.feed(item)
    player.finish()
    told = [alert.subject for alert in player.judge.engine.alerts().values() if alert.code == "sources-fighting"]
    assert sorted(told) == [f"universe:{number}" for number in range(1, 5)]
