"""Several files as one session, against a merge of single packets in plain Python (contracts 1)."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path
from struct import pack

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.packets import merge as merge_module
from netwatch.packets.batch import Mark, PacketBatch
from netwatch.packets.files import open_captures, packet_bytes
from tests.packets.made import (
    SECOND,
    START,
    enhanced,
    interface,
    only_rows,
    option,
    packets_of,
    pcap,
    section,
    statistics,
    told,
)

Event = tuple[int, str]
"""Time in ns and a name; a name that begins with 'mark' is a mark."""


def content(events: list[Event], name: bytes = b"desk") -> bytes:
    """A pcapng file of one interface, times in nanoseconds."""
    out = [section(), interface(options=option(2, name) + option(9, b"\x09"))]
    for time, what in events:
        if what.startswith("mark"):
            out.append(statistics(time, options=option(4, pack("<Q", int(what[4:])))))
        else:
            out.append(enhanced(what.encode(), time))
    return b"".join(out)


def stored(folder: Path, files: list[bytes]) -> list[Path]:
    paths = [folder / f"{n}.pcapng" for n in range(len(files))]
    for path, data in zip(paths, files, strict=True):
        path.write_bytes(data)
    return paths


def by_hand(files: list[list[Event]]) -> list[Event]:
    """Contracts 1 word by word: by (time, order given, n); a time that goes back does not go before its own file's."""
    keyed = []
    for order, events in enumerate(files):
        highest = 0
        for n, event in enumerate(events):
            highest = max(highest, event[0])
            keyed.append((highest, order, n, event))
    return [event for *_, event in sorted(keyed)]


def as_events(items: list[PacketBatch | Mark]) -> list[Event]:
    return [(m.time, f"mark{m.received}") if isinstance(m, Mark) else (m[1], m[2].decode()) for m in told(items)]


@st.composite
def several_files(draw: st.DrawFn) -> list[list[Event]]:
    files = []
    for which in range(draw(st.integers(2, 4))):
        times = draw(st.lists(st.integers(0, 30), max_size=25))
        if draw(st.booleans()):
            times.sort()
        marks = draw(st.sets(st.integers(0, 24)))
        files.append([(START + t, f"mark{which * 100 + n}" if n in marks else f"{which}.{n}") for n, t in enumerate(times)])
    return files


@given(files=several_files())
@settings(max_examples=150, deadline=None)
def test_as_by_hand(files: list[list[Event]], tmp_path_factory: pytest.TempPathFactory) -> None:
    paths = stored(tmp_path_factory.mktemp("merge"), [content(events) for events in files])
    source = open_captures(paths)
    items = list(source)
    expected = by_hand(files)
    assert as_events(items) == expected
    packets = [name for _, name in expected if not name.startswith("mark")]
    for path, events in zip(paths, files, strict=True):
        names = [name for _, name in events if not name.startswith("mark")]
        seen = next(file for file in source.files if file.name == str(path))
        assert (seen.packets, seen.first) == (len(names), packets.index(names[0]) + 1 if names else 0)
    assert packet_bytes(paths, range(1, 200)) == {n: name.encode() for n, name in enumerate(packets, 1)}


def test_one_after_another_is_the_same_port(tmp_path: Path) -> None:
    late = content([(START + 2 * SECOND, "c"), (START + 3 * SECOND, "d")])
    early = content([(START, "a"), (START + SECOND, "b")])
    touching = content([(START + 3 * SECOND, "e"), (START + 4 * SECOND, "f")])
    source = open_captures(stored(tmp_path, [late, early, touching]))
    items = list(source)
    assert packets_of(only_rows(items)) == [b"a", b"b", b"c", b"d", b"e", b"f"]
    assert [port.name for port in items[-1].ports] == ["desk"]
    assert [(Path(file.name).name, file.first, file.packets) for file in source.files] == [
        ("1.pcapng", 1, 2), ("0.pcapng", 3, 2), ("2.pcapng", 5, 2),
    ]


def test_another_name_or_link_type_is_another_port(tmp_path: Path) -> None:
    paths = stored(tmp_path, [content([(START, "a")]), content([(START + 1, "b")], b"pond"), pcap([(b"c", START + 2)])])
    paths += [tmp_path / "cooked"]
    paths[-1].write_bytes(pcap([(b"d", START + 3)], link=113))
    items = list(open_captures(paths))
    ports = [(port.name, port.link_type) for port in items[-1].ports]
    assert ports == [("desk", 1), ("pond", 1), ("capture", 1), ("capture 2", 113)]


def test_overlapping_files_have_ports_of_their_own(tmp_path: Path) -> None:
    """Two recorders with three files each: each recorder keeps its port."""
    files = []
    for n in range(3):
        base = START + n * 100
        files += [content([(base, f"A{n}"), (base + 60, f"A{n}")]), content([(base + 30, f"B{n}"), (base + 90, f"B{n}")])]
    source = open_captures(stored(tmp_path, files))
    rows = only_rows(source)
    assert packets_of(rows) == [f"{who}{n}".encode() for n in range(3) for who in "ABAB"]
    assert [row[4] for row in rows] == [0, 1, 0, 1] * 3


def test_times_that_cannot_be_do_not_order_files(tmp_path: Path) -> None:
    """Contracts 2: outside 1990 to 2200 the previous time counts."""
    odd = content([(5, "a"), (START, "b"), (2**63 - 1, "c"), (START + 2, "d")])
    even = content([(START + 1, "x"), (START + 3, "y")])
    source = open_captures(stored(tmp_path, [odd, even]))
    assert packets_of(only_rows(source)) == [b"a", b"b", b"c", b"x", b"d", b"y"]


def test_large_files_finely_interleaved(tmp_path: Path) -> None:
    dice = random.Random(5)
    files = []
    for _ in range(4):
        time, packets = START, []
        for _ in range(7_000):
            time += dice.randrange(1_000)
            packets.append((dice.randbytes(dice.choice([60, 680, 1_400])), time))
        files.append(packets)
    paths = stored(tmp_path, [pcap(packets) for packets in files])
    rows = only_rows(open_captures(paths))  # checks the limits of each batch
    keyed = [(time, order, n, data) for order, packets in enumerate(files) for n, (data, time) in enumerate(packets)]
    assert {row[4] for row in rows} == set(range(4))
    assert [(row[1], row[2]) for row in rows] == [(time, data) for time, _, _, data in sorted(keyed)]


def test_batches_stay_within_their_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(merge_module, "MAX_BYTES", 3_000)
    files = [content([(START + 2 * n + which, "x" * 900) for n in range(50)]) for which in range(3)]
    items = list(open_captures(stored(tmp_path, files)))
    assert len(only_rows(items)) == 150
    joined = [item for item in items if isinstance(item, PacketBatch) and len(set(item.port.tolist())) > 1]
    assert len(joined) > 40
    assert max(len(item.data) for item in joined) <= 3_000 + 256


def test_a_file_that_is_gone_when_its_turn_comes(tmp_path: Path) -> None:
    paths = stored(tmp_path, [content([(START, "a")]), content([(START + 1, "b")])])
    source = open_captures(paths)
    paths[1].unlink()
    assert packets_of(only_rows(source)) == [b"a"]
    assert source.files[1].problem == f"{paths[1]} does not exist; check its name and folder."


def test_files_with_a_problem_and_without_packets(tmp_path: Path) -> None:
    whole, cut = content([(START, "a"), (START + 2, "c")]), content([(START + 1, "b"), (START + 5, "lost")])[:-3]
    source = open_captures(stored(tmp_path, [whole, cut, pcap([])]))
    assert packets_of(only_rows(source)) == [b"a", b"b", b"c"]
    assert [(file.packets, file.problem is None) for file in source.files] == [(2, True), (1, False), (0, True)]


def test_hundreds_of_files_one_after_another(tmp_path: Path) -> None:
    paths = stored(tmp_path, [pcap([(b"%d" % n, START + n)]) for n in range(300)])
    source = open_captures(paths[::-1])
    total = sum(path.stat().st_size for path in paths)
    assert source.bytes_total == total
    assert packets_of(only_rows(source)) == [b"%d" % n for n in range(300)]
    assert source.bytes_read == total


def test_standard_input_between_files(tmp_path: Path) -> None:
    paths = stored(tmp_path, [pcap([(b"a", START)]), pcap([(b"c", START + 2)])])
    script = (
        "import sys; from netwatch.packets.files import open_captures\n"
        "for item in open_captures(sys.argv[1:]): print(*(item.packet(row).decode() for row in range(item.rows)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(paths[1]), "-", str(paths[0])],
        input=pcap([(b"b", START + 1)]), capture_output=True, cwd=Path(__file__).resolve().parents[2], check=True,
    )
    assert (done.stdout.split(), done.stderr) == ([b"a", b"b", b"c"], b"")


def test_more_ports_than_there_is_room_for(tmp_path: Path) -> None:
    paths = stored(tmp_path, [content([(START + n, f"{n}")], b"lamp %d" % n) for n in range(66)])
    source = open_captures(paths)
    rows = only_rows(source)
    assert [row[4] for row in rows] == [*range(63), 63, 63, 63]
    assert [file.problem is None for file in source.files] == [True] * 63 + [False] * 3
    assert "1 interface" in (source.files[63].problem or "")
