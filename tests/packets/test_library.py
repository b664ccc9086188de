"""The library's sockets give the same items as the ring; run on Linux, where both can listen to one cable."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
from scapy.layers.l2 import Dot1Q, Ether

from netwatch.packets.batch import DIRECTION_IN, DIRECTION_OUT, Item, Mark, PacketBatch
from netwatch.packets.library import LibrarySource, _link_type
from netwatch.packets.machine import CannotListen
from netwatch.packets.ring import RingSource
from tests import lab
from tests.lab import EXPERIMENTAL, Lab, after, frame

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near")
        yield made


def rows(items: list[Item]) -> list[tuple[bytes, int, int]]:
    return [
        (item.packet(row), int(item.port[row]), int(item.direction[row]))
        for item in items if isinstance(item, PacketBatch) for row in range(item.rows) if EXPERIMENTAL in item.packet(row)[:18]
    ]


def test_it_reads_what_the_ring_reads(net: Lab) -> None:
    tagged = bytes(Ether(dst="ff:ff:ff:ff:ff:ff", src="02:00:00:00:00:01") / Dot1Q(vlan=100, type=0x88B5) / (b"tagged" * 12))
    ring, library = RingSource(["near"]), LibrarySource(["near"])
    before = time.time_ns()
    net.send("far", frame(1), tagged, frame(2, 1_514))
    own = b"\xff" * 6 + library.ports[0].macs[0] + EXPERIMENTAL + bytes(50)
    net.send("near", own)
    by_library, by_ring = after(0.2, library), after(0.1, ring)
    # What goes out and what comes in may overtake each other on a busy machine.
    assert sorted(rows(by_library)) == sorted(rows(by_ring))
    directions = {row[0]: row[2] for row in rows(by_library)}
    assert directions == {frame(1): DIRECTION_IN, tagged: DIRECTION_IN, frame(2, 1_514): DIRECTION_IN, own: DIRECTION_OUT}
    batch = next(item for item in by_library if isinstance(item, PacketBatch))
    assert all(before <= int(each) <= time.time_ns() for each in batch.time)
    assert (batch.first, batch.ports[0].link_type, batch.ports[0].source) == (1, 1, "library")


def test_marks_come_with_counts_and_facts(net: Lab) -> None:
    source = LibrarySource(["near"])
    net.send("far", frame(1), frame(2))
    marks = [item for item in after(0.2, source) if isinstance(item, Mark)]
    assert len(marks) == 2
    assert (marks[-1].received, marks[-1].dropped) == (2, None)
    assert marks[0].facts["link"] is True


def test_several_interfaces(net: Lab) -> None:
    net.pair("far2", "near2")
    source = LibrarySource(["near", "near2"])
    net.send("far2", frame(1))
    net.send("far", frame(2))
    assert rows(after(0.2, source)) == [(frame(1), 1, DIRECTION_IN), (frame(2), 0, DIRECTION_IN)]


def test_only_goes_on_with_one_as_if_just_opened(net: Lab) -> None:
    net.pair("far2", "near2")
    source = LibrarySource(["near", "near2"])
    net.send("far2", frame(1))
    list(source.items(0.1))
    source.only(["near2"])
    net.send("far", frame(2))
    net.send("far2", frame(3))
    items = after(0.2, source)
    assert rows(items) == [(frame(3), 0, DIRECTION_IN)]
    assert next(item for item in items if isinstance(item, PacketBatch)).first == 1
    assert [item for item in items if isinstance(item, Mark)][-1].received == 1


def test_a_device_that_goes_is_said_and_no_traceback(net: Lab) -> None:
    source = LibrarySource(["near"])
    net.ip("link", "delete", "near")
    marks = [item for item in after(0.3, source) if isinstance(item, Mark)]
    assert {key: marks[-1].facts[key] for key in ("present", "up", "link")} == {"present": False, "up": False, "link": False}


def test_close_from_another_thread_ends_it(net: Lab) -> None:
    source = LibrarySource(["near"])
    reader = threading.Thread(target=lambda: list(source))
    reader.start()
    source.close()
    reader.join(timeout=5)
    assert not reader.is_alive()


def test_an_interface_that_is_not_there_is_one_sentence(net: Lab) -> None:
    with pytest.raises(CannotListen, match=r"^There is no interface 'nowhere'"):
        LibrarySource(["near", "nowhere"])


def test_what_other_systems_sockets_tell_is_used(net: Lab) -> None:
    """Stand-ins with the attributes of scapy's BPF and pcap sockets; DLT_RAW = 12 (pcap-linktype(7): LINKTYPE_RAW is 101)."""
    class Pcap:
        class pcap_fd:
            datalink = staticmethod(lambda: 12)

    class Bpf:
        guessed_cls = Ether
        get_stats = staticmethod(lambda: (70, 5))
        close = staticmethod(lambda: None)

    source = LibrarySource(["near"])
    source._sockets.pop(0).close()
    source._sockets[0] = Bpf()
    assert source._counters(0) == (70, 5)
    source.only(["near"])
    assert source._counters(0) == (0, 0)
    assert (_link_type(Pcap()), _link_type(Bpf())) == (101, 1)
    source.close()
