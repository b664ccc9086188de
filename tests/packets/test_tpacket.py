"""Blocks of a packet ring, built by C structures written after linux/if_packet.h, read back."""

from __future__ import annotations

import ctypes
from ctypes import c_uint8, c_uint16, c_uint32

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.packets import tpacket


class Tpacket3Hdr(ctypes.Structure):
    """struct tpacket3_hdr (linux/if_packet.h); the compiler's own alignment."""

    _fields_ = [
        ("tp_next_offset", c_uint32), ("tp_sec", c_uint32), ("tp_nsec", c_uint32), ("tp_snaplen", c_uint32), ("tp_len", c_uint32),
        ("tp_status", c_uint32), ("tp_mac", c_uint16), ("tp_net", c_uint16), ("tp_rxhash", c_uint32), ("tp_vlan_tci", c_uint32),
        ("tp_vlan_tpid", c_uint16), ("tp_padding16", c_uint16), ("tp_padding", c_uint8 * 8),
    ]


class SockaddrLl(ctypes.Structure):
    """struct sockaddr_ll (linux/if_packet.h)."""

    _fields_ = [
        ("sll_family", c_uint16), ("sll_protocol", c_uint16), ("sll_ifindex", ctypes.c_int), ("sll_hatype", c_uint16),
        ("sll_pkttype", c_uint8), ("sll_halen", c_uint8), ("sll_addr", c_uint8 * 8),
    ]


PACKET_HOST, PACKET_OUTGOING = 0, 4
TP_STATUS_VLAN_VALID, TP_STATUS_VLAN_TPID_VALID = 1 << 4, 1 << 6
GAP = 86


def block(frames: list[bytes], **fields: int) -> tuple[np.ndarray, list[int]]:
    """Frames as the kernel lays them into a block (headers aligned to 8, the last with distance 0), and where each begins."""
    out, at = bytearray(48), []
    for number, frame in enumerate(frames):
        at.append(len(out))
        size = GAP + len(frame)
        header = Tpacket3Hdr(
            tp_next_offset=0 if number == len(frames) - 1 else size + -size % 8, tp_sec=1_700_000_000, tp_nsec=number,
            tp_snaplen=len(frame), tp_len=len(frame) + 3, tp_mac=GAP, tp_net=GAP + 14,
            **{name: value for name, value in fields.items() if name != "sll_pkttype"},
        )
        address = SockaddrLl(sll_pkttype=fields.get("sll_pkttype", PACKET_HOST))
        out += bytes(header) + bytes(address)
        out += bytes(at[-1] + GAP - len(out)) + frame + bytes(-size % 8)
    return np.frombuffer(bytearray(out + bytes(256)), np.uint8), at


def everything(data: np.ndarray, count: int) -> tpacket.Rows:
    return tpacket.read(data, tpacket.starts(data, 48, count), np.ones(count, bool))


@given(st.lists(st.tuples(st.integers(14, 1514), st.integers(1, 70)), min_size=1, max_size=30))
@settings(max_examples=100, deadline=None)
def test_every_header_is_found_whatever_the_lengths(runs: list[tuple[int, int]]) -> None:
    frames = [bytes([length % 251]) * length for length, times in runs for _ in range(times)]
    data, at = block(frames)
    assert tpacket.starts(data, 48, len(frames)).tolist() == at


def test_a_long_run_of_equal_frames_is_found() -> None:
    data, at = block([bytes(100)] * 9_000 + [bytes(60)] + [bytes(100)] * 40)
    assert tpacket.starts(data, 48, len(at)).tolist() == at


def test_headers_become_columns() -> None:
    frames = [bytes(range(60)), bytes(range(100))]
    data, _ = block(frames)
    rows = everything(data, 2)
    assert [data[s : s + n].tobytes() for s, n in zip(rows.start, rows.caplen, strict=True)] == frames
    assert rows.wirelen.tolist() == [63, 103]
    assert rows.time.tolist() == [1_700_000_000_000_000_000, 1_700_000_000_000_000_001]
    assert rows.direction.tolist() == [1, 1]


def test_frames_that_this_computer_sends_are_marked_as_going_out() -> None:
    data, _ = block([bytes(60)], sll_pkttype=PACKET_OUTGOING)
    assert everything(data, 1).direction.tolist() == [2]


@pytest.mark.parametrize(("status", "tag"), [
    (TP_STATUS_VLAN_VALID | TP_STATUS_VLAN_TPID_VALID, "88a86064"),
    (TP_STATUS_VLAN_VALID, "81006064"),  # kernels before 3.14 do not tell the TPID (packet(7), packet_mmap)
])
def test_the_tag_stands_behind_the_addresses_again(status: int, tag: str) -> None:
    """IEEE 802.1Q-2018 9.3: the tag is inserted behind the source address."""
    frame = bytes(range(64))
    data, _ = block([frame, frame], tp_status=status, tp_vlan_tci=0x6064, tp_vlan_tpid=0x88A8)
    rows = everything(data, 2)
    for start, size, wire in zip(rows.start, rows.caplen, rows.wirelen, strict=True):
        assert data[start : start + size].tobytes() == frame[:12] + bytes.fromhex(tag) + frame[12:]
        assert wire == 64 + 3 + 4


def test_frames_without_addresses_get_no_tag() -> None:
    data, _ = block([bytes(64)], tp_status=TP_STATUS_VLAN_VALID, tp_vlan_tci=5)
    rows = tpacket.read(data, tpacket.starts(data, 48, 1), np.zeros(1, bool))
    assert rows.caplen.tolist() == [64]
