"""How universes are written. Against E1.31-2018 9.3.1, RFC 1112 6.4 and Art-Net's layout of a Port-Address."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.plan.universes import (
    ARTNET,
    E131,
    BadUniverse,
    Light,
    from_three,
    group,
    group_mac,
    lights,
    protocol,
    three,
    written,
)

LIGHTS = st.one_of(
    st.builds(Light, st.just(E131), st.integers(1, 63_999)), st.builds(Light, st.just(ARTNET), st.integers(0, 32_767))
)


@pytest.mark.parametrize(("text", "spoken", "found"), [
    ("7", "", [Light(E131, 7)]),
    (7, ARTNET, [Light(ARTNET, 7)]),
    ("1-3, 9", "", [Light(E131, n) for n in (1, 2, 3, 9)]),
    ("1 - 3;9 + 11", "", [Light(E131, n) for n in (1, 2, 3, 9, 11)]),
    ("1\N{EN DASH}3", "", [Light(E131, n) for n in (1, 2, 3)]),
    ("1 to 3", "", [Light(E131, n) for n in (1, 2, 3)]),
    ("007", "", [Light(E131, 7)]),
    ("0.1.5", "", [Light(ARTNET, 21)]),
    ("a21", "", [Light(ARTNET, 21)]),
    ("0.0.14-0.1.1", "", [Light(ARTNET, n) for n in (14, 15, 16, 17)]),
    ("0", ARTNET, [Light(ARTNET, 0)]),
    ("", "", []),
])
def test_what_is_written(text: str | int, spoken: str, found: list[Light]) -> None:
    assert list(lights(text, spoken)) == found


@pytest.mark.parametrize(("text", "spoken", "said"), [
    ("0", "", "there is no sACN universe 0: they are 1 to 63,999; if Art-Net is meant, write 0.0.0"),
    ("64000", "", "they are 1 to 63,999"),
    ("32768", ARTNET, "they are 0 to 32,767"),
    ("1.0", "", "write 1 for sACN universe 1, or three numbers for Art-Net, as 0.1.0"),
    ("0:1:3", "", "write 0.1.3 for Art-Net"),
    ("0/1/3", "", "write 0.1.3 for Art-Net"),
    ("U12", "", "write 12"),
    ("Universe12", "", "write 12"),
    ("128.0.0", "", "net is 0 to 127"),
    ("0.16.0", "", "sub-net and universe are 0 to 15"),
    ("8-1", "", "runs backwards; write 1-8"),
    ("1-0.0.3", "", "begins in sACN and ends in Art-Net"),
    ("0.1.3", E131, "is how Art-Net counts, but the protocol is sACN"),
    ("one", "", "'one' names no universe"),
    ("1-", "", "'1-' names no universe"),
])
def test_a_slip_is_one_sentence_with_what_was_meant(text: str, spoken: str, said: str) -> None:
    with pytest.raises(BadUniverse) as caught:
        lights(text, spoken)
    assert said in str(caught.value)
    assert not str(caught.value).endswith(".")


@given(st.lists(LIGHTS, max_size=30))
def test_what_is_written_is_read_back(found: list[Light]) -> None:
    assert set(lights(", ".join(written(found)))) == set(found)


@pytest.mark.parametrize(("text", "found"), [
    ("sACN", E131), ("E1.31", E131), ("streaming ACN", E131), ("Art-Net", ARTNET), ("artnet 4", ARTNET), ("both", ""),
    ("sACN + Art-Net", ""), ("", ""),
])
def test_protocols(text: str, found: str) -> None:
    assert protocol(text) == found


def test_another_protocol_is_refused() -> None:
    with pytest.raises(BadUniverse, match="write sACN or Art-Net"):
        protocol("MIDI")


@pytest.mark.parametrize(("numbers", "flat"), [
    ((0, 0, 0), 0), ((0, 1, 5), 21), ((1, 2, 5), 0x125), ((1, 0, 0), 256), ((127, 15, 15), 32_767),
])
def test_three_numbers_of_artnet(numbers: tuple[int, int, int], flat: int) -> None:
    """Art-Net 4 p.7: 7 bits net, 4 bits sub-net, 4 bits universe; 0x0125 is 293."""
    assert from_three(*numbers) == Light(ARTNET, flat)
    assert three(Light(ARTNET, flat)) == ".".join(map(str, numbers))


@pytest.mark.parametrize(("universe", "address", "mac"), [
    (1, "239.255.0.1", "01:00:5e:7f:00:01"),
    (255, "239.255.0.255", "01:00:5e:7f:00:ff"),
    (256, "239.255.1.0", "01:00:5e:7f:01:00"),
    (63_999, "239.255.249.255", "01:00:5e:7f:f9:ff"),
    (64_214, "239.255.250.214", "01:00:5e:7f:fa:d6"),
])
def test_groups_and_their_macs(universe: int, address: str, mac: str) -> None:
    """E1.31-2018 table 9-10 (239.255.UHB.ULB); RFC 1112 6.4 (the low 23 bits)."""
    assert (group(universe), group_mac(address)) == (address, mac)


def test_no_two_universes_share_a_mac() -> None:
    """RFC 1112 6.4: 32 groups share each MAC; those of universes never one with each other."""
    assert len({group_mac(group(universe)) for universe in range(1, 64_000, 7)}) == len(range(1, 64_000, 7))
    assert group_mac("239.127.0.1") == group_mac("224.255.0.1") == group_mac(group(1))
