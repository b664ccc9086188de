"""Headers that are not read again: the answer must be that of reading them, whatever the octets and however they are cut."""

from __future__ import annotations

from copy import deepcopy

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode import forms
from netwatch.decode.columns import decode
from netwatch.decode.forms import Forms
from netwatch.decode.tables import Decoded
from netwatch.packets.batch import PacketBatch
from tests.decode.laws import columns
from tests.decode.light import ARTNET, E131
from tests.decode.test_columns import GOOD, plain
from tests.decode.wire import artnet, batch, e131, ethernet, ipv4, spaced, udp, zeros

SEQUENCE = 14 + 28 + 111
MOVING = (18, 19, 24, 25, 40, 41, SEQUENCE)


def with_forms(known: Forms, packets: PacketBatch) -> int:
    """Rows of light that were of a known form; the tables are those of reading every row."""
    before = len(known)
    tables = decode(packets, known)
    assert plain(tables) == plain(decode(packets))
    assert tables.form is not None
    kinds_say_the_same(tables, decode(packets))
    return int(np.count_nonzero((tables.form >= 0) & (tables.form < before)))


def kinds_say_the_same(tables: Decoded, read: Decoded) -> None:
    """What each header of a batch says, asked once, is what its rows say."""
    for source in set(read.frames.src.tolist()):
        rows = np.flatnonzero(read.frames.src == source)
        assert tables.rows(lambda frames, of=source: frames.src == of).tolist() == rows.tolist()
    if tables.kinds is None or tables.form is None:
        return
    assert read.levels.row.tolist() == list(range(len(tables.form)))
    place = np.searchsorted(tables.kinds.form, tables.form)
    assert tables.kinds.form[place].tolist() == tables.form.tolist()
    for name, column in columns(tables.kinds.frames).items():
        assert column[place].tolist() == columns(read.frames)[name].tolist()
    for name, column in tables.kinds.levels.items():
        assert column[place].tolist() == columns(read.levels)[name].tolist()


def test_all_light_of_known_forms_is_told_by_its_kinds() -> None:
    known, sources = Forms(), [changed(e131(E131["data-4"]), 64, number) for number in range(3)]
    with_forms(known, batch(sources))
    for frames in (sources, sources * 3, [*sources * 2, sources[0], sources[0]], sources[:1], sources[::-1]):
        kinds = decode(batch(frames), known).kinds
        assert kinds is not None
        assert len(kinds.form) == len(set(frames))
        with_forms(known, batch(frames))
    assert decode(batch([*sources, GOOD["arp"][0]]), known).kinds is None


def changed(frame: bytes, at: int, octet: int) -> bytes:
    return frame[:at] + bytes([octet]) + frame[at + 1 :]


def test_the_second_of_a_kind_is_not_read() -> None:
    known, frame = Forms(), e131(E131["data-4"])
    assert with_forms(known, batch([frame])) == 0
    assert with_forms(known, batch([changed(frame, SEQUENCE, 7), changed(frame, len(frame) - 1, 99)])) == 2


def test_what_moves_is_no_new_form_and_all_else_is() -> None:
    """RFC 791 3.1 (identification, checksum), RFC 768 (checksum), E1.31-2018 6.7.2 (sequence number)."""
    known, frame = Forms(), e131(E131["data-4"])
    with_forms(known, batch([frame]))
    for at in range(len(frame)):
        other = batch([changed(frame, at, frame[at] ^ 0x01)])
        same = with_forms(deepcopied(known), other)
        assert same == (at in MOVING or at >= 168), at


def deepcopied(known: Forms) -> Forms:
    """A checkpoint learns its own forms; here the known ones are wanted."""
    out = Forms()
    out.__dict__.update({name: deepcopy(value) for name, value in known.__dict__.items()})
    return out


def test_art_net_ends_its_form_at_its_levels() -> None:
    known, frame = Forms(), artnet(ARTNET["dmx"])
    with_forms(known, batch([frame]))
    assert with_forms(known, batch([changed(frame, 14 + 28 + 12, 9), changed(frame, 60, 77)])) == 2
    assert with_forms(known, batch([changed(frame, 14 + 28 + 14, 9)])) == 0


def test_only_what_stands_where_it_is_looked_for_becomes_a_form() -> None:
    known = Forms()
    tagged = ethernet(ipv4(udp(E131["data-4"], 5568)), tags=bytes.fromhex("81000007"))
    options = ethernet(ipv4(udp(E131["data-4"], 5568), options=b"\x94\x04\0\0"))
    with_forms(known, batch([tagged, options]))
    with_forms(known, batch([ipv4(udp(E131["data-4"], 5568))], link_type=101))
    with_forms(known, batch([e131(E131["data-4"])[:-2]], wire=len(e131(E131["data-4"]))))
    assert not len(known)


def test_a_cut_packet_is_not_of_the_form_of_a_whole_one() -> None:
    known, frame = Forms(), e131(E131["data-4"])
    with_forms(known, batch([frame]))
    assert with_forms(known, batch([frame[:-1]], wire=len(frame))) == 0


def test_a_flood_of_forms_is_forgotten_and_the_numbers_begin_anew() -> None:
    known, frame = Forms(), e131(E131["data-4"])
    sources = [frame[:64] + number.to_bytes(4, "big") + frame[68:] for number in range(forms.MOST)]
    with_forms(known, batch(sources))
    assert len(known) == forms.MOST
    assert known.turn == 0
    with_forms(known, batch([changed(frame, 64, 0xFF)]))
    assert len(known) == 1
    assert known.turn == 1


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.sampled_from(sorted(GOOD)), st.integers(0, 300), st.integers(0, 255), st.integers(0, 3)),
             min_size=1, max_size=30),
    st.integers(1, 12),
)  # fmt: skip
def test_any_mixture_gives_what_reading_gives(chosen: list[tuple[str, int, int, int]], size: int) -> None:
    """Good frames of all kinds, some with one octet changed, in batches of any size, each behind the octets of the next."""
    known, rows = Forms(), []
    for name, at, octet, touch in chosen:
        frame, _ = GOOD[name]
        frame = changed(frame, at, octet) if touch == 0 and at < len(frame) else frame
        rows.append((frame, len(frame)))
    for low in [*range(0, len(rows), size), 0]:
        part = rows[low : low + size] if low else rows
        with_forms(known, spaced(part, zeros(len(part)), (1, 101)))
