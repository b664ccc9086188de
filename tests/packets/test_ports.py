"""Which port an interface gets (contracts 1: same name and link type, at most 64)."""

from __future__ import annotations

from netwatch.packets.batch import Port
from netwatch.packets.ports import MAX_PORTS, PortTable


def test_the_same_interface_again_is_the_same_port_once_it_is_free() -> None:
    table = PortTable()
    desk, pond = Port("desk", 1), Port("pond", 1)
    assert [table.take(desk), table.take(pond)] == [0, 1]
    table.release([0])
    assert table.take(Port("desk", 1, speed=10)) == 0
    assert table.take(Port("desk", 113)) == 2
    assert table.take(desk) == 3
    assert [port.name for port in table.ports] == ["desk", "pond", "desk 2", "desk 3"]
    assert table.ports[0] == desk


def test_a_name_that_is_used_as_it_would_be_made() -> None:
    table = PortTable()
    for name in ("desk 2", "desk", "desk"):
        table.take(Port(name, 1))
    assert [port.name for port in table.ports] == ["desk 2", "desk", "desk 3"]


def test_the_last_port_is_for_all_others() -> None:
    table = PortTable()
    indices = [table.take(Port(f"lamp {n}", 1)) for n in range(100)]
    assert indices == [*range(MAX_PORTS - 1)] + [MAX_PORTS - 1] * 37
    assert table.refused == 37
    assert (table.ports[-1].name, len(table.ports)) == ("others", MAX_PORTS)
