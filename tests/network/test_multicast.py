"""Who asked for groups of light, however many come and go. Our own bookkeeping against a plain count; no outside source."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

from netwatch.decode.tables import Igmp, IgmpRecord
from netwatch.network.clock import NS
from netwatch.network.multicast import Multicast
from netwatch.numbers import DEFAULTS


def report(n: int, box: int, group: str, what: str) -> Igmp:
    """One box's word."""
    return Igmp(
        n=n, segment=0, mac=f"02:00:00:00:00:{box:02x}", to_mac="", src="", dst=group, raw=b"", version=2, what="report",
        group=group, checksum_good=True, records=(IgmpRecord(group, what),),
    )  # fmt: skip


def test_listeners_are_the_members_of_all_groups_of_light() -> None:
    chance, table = random.Random(31), Multicast(replace(DEFAULTS, cap_groups=20))
    for n in range(3_000):
        group = f"{chance.choice(('239.255.0', '239.1.0'))}.{chance.randrange(2 if n % 5 else 40)}"
        table.fold(report(n, chance.randrange(90), group, chance.choice(("join", "join", "leave"))), n * NS // 9)
        if n % 7 == 0:
            table.evict(n * NS // 9)
        counted = Counter(
            (segment, mac) for (segment, address), each in table.groups.items() if address.startswith("239.255.")
            for mac in each.members
        )
        assert table.listeners == counted
    assert table.groups.evicted
    assert max(len(each.members) for each in table.groups.values()) == 64
