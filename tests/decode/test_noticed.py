"""What is only noticed: a short word, whatever the bytes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode.noticed import read
from netwatch.decode.reader import Reader
from netwatch.decode.tables import Kind
from tests.decode.good import DISCOVERY_3, DRAFT, HEAD, octets

KINDS = [Kind.MLD, Kind.E131_IPV6, Kind.E131_DRAFT, Kind.ACN_OTHER]


@pytest.mark.parametrize(
    ("kind", "payload", "detail"),
    [
        (Kind.MLD, octets("82 00 00 00"), "MLD query"),  # RFC 2710 section 3
        (Kind.MLD, octets("83 00 00 00"), "MLD report"),
        (Kind.MLD, octets("84 00 00 00"), "MLD done"),
        (Kind.MLD, octets("8f 00 00 00"), "MLD report"),  # RFC 3810 section 5.2
        (Kind.MLD, octets("01"), "ICMPv6 type 1"),
        (Kind.E131_IPV6, DISCOVERY_3, "E1.31 universe discovery over IPv6"),  # E1.31-2018 appendix A
        (Kind.E131_IPV6, DISCOVERY_3[:21] + b"\4" + DISCOVERY_3[22:], "E1.31 data over IPv6"),
        (Kind.E131_IPV6, DISCOVERY_3[:43] + b"\1" + DISCOVERY_3[44:], "E1.31 synchronization over IPv6"),
        (Kind.E131_IPV6, b"", "E1.31 packet over IPv6"),
        (Kind.E131_DRAFT, DRAFT, "draft E1.31 of 'Old draft source', universe 2"),  # layout of two public listings
        (Kind.ACN_OTHER, DISCOVERY_3[:21] + b"\1" + DISCOVERY_3[22:], "ACN root vector 1"),  # SDT, E1.17 EPI 18
    ],
)
def test_a_word_for_each(kind: Kind, payload: bytes, detail: str) -> None:
    record = read(kind, Reader(payload), HEAD)
    assert (record.kind, record.detail) == (kind, detail)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(KINDS), st.binary(max_size=120))
def test_any_bytes(kind: Kind, payload: bytes) -> None:
    assert read(kind, Reader(payload), HEAD).detail.isprintable()
