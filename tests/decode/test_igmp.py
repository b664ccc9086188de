"""IGMP against RFC 1112, 2236, 9776 and RFC 1071, and against scapy's builder as an oracle."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.layers.igmp import IGMP_MQ, IGMPv3_MQ, IGMPv3_MR, IGMPv3_MR_Group
from scapy.utils import checksum

from netwatch.decode.igmp import _checksum_good, read
from netwatch.decode.reader import CUT, SHORT, Reader, Unreadable
from netwatch.decode.tables import Igmp, IgmpRecord, Kind, Noticed
from tests.decode.good import HEAD, IGMP, octets

ONE = "239.255.0.1"


def parse(payload: bytes, cut: bool = False) -> Igmp:
    message = read(Reader(payload, cut), HEAD)
    assert isinstance(message, Igmp)
    return message


@pytest.mark.parametrize(
    ("name", "version", "group", "seconds", "robustness", "interval"),
    [
        ("v1 query", 1, "", 10.0, None, None),
        ("v2 query", 2, "", 10.0, None, None),
        ("v2 group query", 2, ONE, 1.0, None, None),
        ("v3 query", 3, "", 10.0, 2, 125),
    ],
)
def test_queries(name: str, version: int, group: str, seconds: float, robustness: int | None, interval: int | None) -> None:
    """Version by length and Max Resp Code, RFC 9776 7.1; fields of 4.1."""
    query = parse(IGMP[name])
    assert (query.what, query.version, query.group, query.max_response) == ("query", version, group, seconds)
    assert (query.robustness, query.interval, query.records, query.checksum_good) == (robustness, interval, (), True)


@pytest.mark.parametrize(
    ("name", "version", "what"),
    [
        ("v2 report", 2, "join"),
        ("v2 leave", 2, "leave"),
        ("v3 join", 3, "join"),
        ("v3 answer", 3, "still"),
        ("v3 leave", 3, "leave"),
    ],
)
def test_reports(name: str, version: int, what: str) -> None:
    """RFC 2236 section 2; record types of RFC 9776 4.2.13."""
    report = parse(IGMP[name])
    assert (report.what, report.version, report.records) == ("report", version, (IgmpRecord(group=ONE, what=what),))
    assert report.checksum_good


def test_a_version_1_report() -> None:
    """RFC 1112 appendix I: type 0x12."""
    assert parse(octets("12 00 fd fe ef ff 00 01")).records == (IgmpRecord(group=ONE, what="join"),)
    assert parse(octets("12 00 fd fe ef ff 00 01")).version == 1


@pytest.mark.parametrize(("code", "value"), [(0, 0), (127, 127), (0x80, 128), (0x8F, 248), (0x90, 256), (0xFF, 31744)])
def test_codes_from_128_on_are_floating_point(code: int, value: int) -> None:
    """RFC 9776 4.1.1 and 4.1.7: (mant | 0x10) << (exp + 3)."""
    query = parse(octets("11") + bytes((code,)) + octets("00 00 00 00 00 00 02") + bytes((code,)) + octets("00 00"))
    assert query.max_response == value / 10
    assert query.interval == (value or None)


def test_a_version_2_code_is_plain_tenths() -> None:
    """RFC 2236 2.2."""
    assert parse(octets("11 ff 00 00 00 00 00 00")).max_response == 25.5


def test_a_querier_may_leave_robustness_and_interval_open() -> None:
    """RFC 9776 4.1.6 and 4.1.7: zero means that the receiver uses its own values; the S bit is no part of QRV."""
    query = parse(octets("11 64 00 00 00 00 00 00 08 00 00 00"))
    assert (query.robustness, query.interval) == (None, None)


@pytest.mark.parametrize("size", [9, 10, 11])
def test_a_query_of_no_version_is_ignored(size: int) -> None:
    """RFC 9776 7.1: any other length is silently ignored."""
    with pytest.raises(Unreadable, match=f"{size} octets"):
        parse(IGMP["v3 query"][:size])
    with pytest.raises(Unreadable, match=CUT):
        parse(IGMP["v3 query"][:size], cut=True)


def test_a_cut_query_may_be_of_either_version() -> None:
    with pytest.raises(Unreadable, match=CUT):
        parse(IGMP["v2 query"], cut=True)
    assert parse(octets("11 64 00 00 00 00 00 00 02 7d 00 09"), cut=True).interval == 125


@pytest.mark.parametrize(
    ("type_", "sources", "what"),
    [(1, 0, None), (1, 1, "still"), (2, 0, "still"), (2, 2, "still"), (3, 0, "leave"), (3, 1, "still"), (4, 0, "join"),
     (4, 1, "join"), (5, 1, "join"), (6, 1, None), (7, 0, None), (0, 0, None)],
)  # fmt: skip
def test_every_record_type(type_: int, sources: int, what: str | None) -> None:
    """RFC 9776 4.2.13; unknown types are ignored, auxiliary data is skipped (4.2.6, 4.2.11)."""
    odd = bytes((type_, 1, 0, sources)) + octets("ef ff 00 01") + bytes(4 * sources) + octets("de ad be ef")
    report = parse(octets("22 00 00 00 00 00 00 02") + odd + octets("04 00 00 00 ef ff 00 02"))
    expected = [IgmpRecord(group=ONE, what=what)] if what else []
    assert list(report.records) == [*expected, IgmpRecord(group="239.255.0.2", what="join")]


def test_records_that_run_past_the_end() -> None:
    for payload in (IGMP["v3 join"][:-1], octets("22 00 00 00 00 00 ff ff") + IGMP["v3 join"][8:]):
        with pytest.raises(Unreadable, match=SHORT):
            parse(payload)
        with pytest.raises(Unreadable, match=CUT):
            parse(payload, cut=True)


def test_a_group_must_be_multicast() -> None:
    """RFC 1112 section 4: 224.0.0.0 to 239.255.255.255."""
    for group, text in (("0a 00 00 01", "10.0.0.1"), ("f0 00 00 01", "240.0.0.1"), ("00 00 00 00", "0.0.0.0")):
        with pytest.raises(Unreadable, match=f"group {text} is no multicast address"):
            parse(octets("16 00 00 00" + group))


def test_sources_that_run_past_the_end() -> None:
    with pytest.raises(Unreadable, match="sources run past the end"):
        parse(octets("11 64 00 00 00 00 00 00 02 7d 00 09"))


def test_other_types_are_noticed() -> None:
    """0x13 (DVMRP) and 0x30 (multicast router discovery, RFC 4286) are registered types, not broken ones."""
    message = read(Reader(octets("13 00 00 00 00 00 00 00")), HEAD)
    assert isinstance(message, Noticed)
    assert (message.kind, message.detail) == (Kind.IGMP, "IGMP type 0x13")


@settings(max_examples=100, deadline=None)
@given(st.binary(min_size=4, max_size=20), st.integers(1, 255))
def test_the_checksum_agrees_with_scapys(body: bytes, bit: int) -> None:
    """RFC 1071 section 1, odd lengths included; scapy's sum is the oracle."""
    payload = octets("16 00 00 00 ef ff 00 01") + body
    payload = payload[:2] + checksum(payload).to_bytes(2, "big") + payload[4:]
    assert parse(payload).checksum_good
    broken = payload[:1] + bytes((payload[1] ^ bit,)) + payload[2:]
    assert not parse(broken).checksum_good
    assert parse(broken, cut=True).checksum_good


def test_the_worked_example_of_rfc_1071() -> None:
    """RFC 1071 section 3: these words add up to 0xDDF2, so 0x220D behind them makes the sum good."""
    assert _checksum_good(Reader(octets("00 01 f2 03 f4 f5 f6 f7 22 0d")))
    assert not _checksum_good(Reader(octets("00 01 f2 03 f4 f5 f6 f7 22 0e")))


GROUP = st.integers(0xE0000000, 0xEFFFFFFF).map(lambda value: str(ipaddress.IPv4Address(value)))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 6), GROUP, st.lists(GROUP, max_size=3)), max_size=8))
def test_reports_built_by_scapy(entries: list[tuple[int, str, list[str]]]) -> None:
    groups = [IGMPv3_MR_Group(rtype=type_, maddr=group, srcaddrs=sources) for type_, group, sources in entries]
    report = parse(bytes(IGMPv3_MR(records=groups)))
    assert report.checksum_good
    told = [(type_, group, bool(sources)) for type_, group, sources in entries]
    told = [entry for entry in told if entry[0] != 6 and (entry[0] not in (1, 5) or entry[2])]
    assert [record.group for record in report.records] == [group for _, group, _ in told]
    assert [record.what for record in report.records] == [
        "leave" if (type_, some) == (3, False) else "join" if type_ in (4, 5) else "still" for type_, _, some in told
    ]


@settings(max_examples=60, deadline=None)
@given(GROUP, st.integers(0, 7), st.integers(0, 127), st.integers(1, 127), st.lists(GROUP, max_size=3))
def test_queries_built_by_scapy(group: str, robustness: int, interval: int, tenths: int, sources: list[str]) -> None:
    payload = bytes(IGMPv3_MQ(mrcode=tenths, gaddr=group, qrv=robustness, qqic=interval, srcaddrs=sources))
    query = parse(payload)
    assert (query.version, query.group, query.max_response, query.checksum_good) == (3, group, tenths / 10, True)
    assert (query.robustness, query.interval) == (robustness or None, interval or None)
    old = parse(bytes(IGMP_MQ(mrcode=tenths, gaddr=group)))
    assert (old.version, old.group, old.max_response, old.checksum_good) == (2, group, tenths / 10, True)
