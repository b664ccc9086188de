"""Boxes in columns: what is new about them, and who leaves (no outside source)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netwatch.network.boxes import USES, Boxes
from netwatch.network.changes import Changes
from netwatch.network.claims import Claims, parts
from netwatch.network.clock import NS, TICK
from netwatch.network.network import OTHERS
from netwatch.numbers import DEFAULTS


def boxes(cap: int = 20) -> Boxes:
    return Boxes(replace(DEFAULTS, cap_hosts=cap))


def hear(table: Boxes, macs: list[int], time: int = 0) -> list[int]:
    """On segment 7, all at one time; gives the ids."""
    ids, _ = table.hear(np.full(len(macs), 7), np.array(macs), np.full(len(macs), time))
    table.seen(ids, time // TICK)
    return ids.tolist()


def test_one_box_one_id() -> None:
    table = boxes()
    assert hear(table, [5, 6, 5], 10) == [0, 1, 0]
    assert hear(table, [6], 30) == [1]
    assert [(key, box.mac, box.first, box.last) for key, box in table.items()] == [((7, 5), 5, 10, 10), ((7, 6), 6, 10, 30)]
    assert table.get((7, 9)) is None
    assert (len(table), table.macs(7), table.macs(8)) == (2, [5, 6], [])


def test_a_box_uses_a_few_addresses_and_each_other_one_is_a_change() -> None:
    table = boxes()
    [one, other] = hear(table, [5, 6])
    ids = np.array([one, other, one, one, other, one, one, one])
    assert table.use(ids, np.array([50, 60, 50, 51, 60, 52, 53, 54])) == [(3, 50), (5, 51), (6, 52)]
    assert table.get((7, 5)).uses == [50, 51, 52, 53]  # type: ignore[union-attr]
    assert table.get((7, 6)).uses == [60]  # type: ignore[union-attr]
    assert USES == 4


def test_what_is_told_is_news_once() -> None:
    table = boxes()
    hear(table, [5])
    told = [table.tell(0, {"DHCP": "mill pond"}, ""), table.tell(0, {"DHCP": "mill pond"}, "10.0.0.1")]
    assert [*told, table.tell(0, {}, "10.0.0.1"), table.tell(-1, {"DHCP": "nobody"}, "")] == [True, True, False, False]
    box = table.get((7, 5))
    assert box is not None
    assert (box.names, box.server) == ({"DHCP": "mill pond"}, "10.0.0.1")


def test_newcomers_leave_with_all_that_was_told_and_established_ones_stay() -> None:
    table = boxes(10)
    hear(table, [1, 2, 3, 4], 10)
    table.tell(1, {"DHCP": "mill pond"}, "")
    table.establish(np.array([0]), np.array([20]), np.array([0]))
    for second in range(3):
        hear(table, [3], second * NS)
    hear(table, [5], 3 * NS)
    table.evict(12, 4 * NS)
    assert [mac for (_, mac), _ in table.items()] == [1, 3, 4, 5]
    assert hear(table, [2], 5 * NS) == [1]
    assert table.get((7, 2)).names == {}  # type: ignore[union-attr]
    assert table.table.evicted == 1


def test_claims_of_every_mac_and_segment() -> None:
    """Also those with the highest bit set: a MAC from 80:... on, the segment of all that exceed the table."""
    claims = Claims(DEFAULTS, Changes())
    keys = np.array([0xFEDCBA987654 << 16, 5 << 16], np.uint64), np.array([OTHERS << 32 | 50, 7 << 32 | 51], np.uint64)
    ids, new = claims.admit(keys, np.array([1, 2]), np.array([10, 20]))
    claims.hear(*parts(keys[0], keys[1]), np.array([1, 2]), np.array([10, 20]))
    assert claims.addresses() == {(OTHERS, 0xFEDCBA987654): [(0, 50)], (7, 5): [(1, 51)]}
    assert [claims.key(claim) for claim in ids[new].tolist()] == [(OTHERS, 0xFEDCBA987654, 50), (7, 5, 51)]
    assert [key for key, _ in claims.boxes.items()] == [(OTHERS, 0xFEDCBA987654), (7, 5)]
