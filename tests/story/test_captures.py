"""Whole captures of a real lab against its own record of what happened; captures made elsewhere: nothing silly is said of them.

The lab's events (X.truth.json) were written down as the commands were given; frame times are comparable with them.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import dpkt
import pytest

from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Item, PacketBatch
from netwatch.packets.files import open_captures
from netwatch.story.play import Player
from netwatch.story.snapshot import AlertView, Snapshot
from tests.decode.good import SHARED
from tests.packets.made import CAPTURES
from tests.stories.playing import NS, Event, Heard, cut_at, difference, picture, play
from tests.test_cli import netwatch

LAB, REAL = SHARED / "captures" / "lab", SHARED / "captures" / "real"
REALS = sorted(path.name for path in REAL.glob("*.pcap*"))
PORTS = ("", ".ordinary_port")
DROP = "mcast_drop.ordinary_port"
LOUD = ("now", "soon")

here = pytest.mark.skipif(not LAB.is_dir(), reason=f"the lab's captures are not at {LAB} (set NETWATCH_SHARED)")


def read(path: Path) -> list[Item]:
    source = open_captures([path])
    try:
        return list(source)
    finally:
        source.close()


def told(path: Path) -> Snapshot:
    """The picture at the end of a file."""
    player = Player(DEFAULTS)
    for item in read(path):
        player.feed(item)
    player.finish()
    return player.snapshot()


@cache
def lab(name: str) -> Snapshot:
    return told(LAB / f"{name}.pcap")


def happened(scenario: str, what: str, actor: str = "") -> float:
    """When the lab did something first, in s since 1970."""
    events = json.loads((LAB / f"{scenario}.truth.json").read_text())["events"]
    return next(float(each["t"]) for each in events if what in each["what"] and actor in each["actor"])


def alerts(shot: Snapshot, code: str) -> list[AlertView]:
    return [each for each in shot.alerts if each.code == code]


def one(shot: Snapshot, code: str) -> AlertView:
    (found,) = alerts(shot, code)
    return found


# ---- a healthy rig ----


@here
@pytest.mark.parametrize("port", PORTS)
def test_a_healthy_rig_raises_nothing(port: str) -> None:
    loud = [(each.code, each.title) for each in lab("clean" + port).alerts if each.severity in LOUD]
    assert not loud


@here
def test_the_mirror_port_is_known() -> None:
    assert lab("clean").listening[0].vantage == "mirror"


@here
def test_the_healthy_rig_as_it_was_built() -> None:
    """Addresses by the lab's own list; four universes at 40 Hz; one DHCP server, one querier."""
    shot = lab("clean")
    hosts = {each.mac: each.addresses for each in shot.hosts}
    built = json.loads((LAB / "clean.truth.json").read_text())["hosts"]
    for host in ("dhcp", "desk"):
        assert hosts[built[host]["mac"]] == (built[host]["ip"].partition("/")[0],)
    streams = [each for each in shot.streams if each.protocol == "e131"]
    seen = [(each.universe, each.name, round(each.rate or 0), each.lost) for each in streams]
    assert seen == [(universe, "desk", 40, 0) for universe in (1, 2, 3, 4)]
    assert [each.address for each in shot.servers] == ["10.77.0.1"]
    assert [(each.address, each.version) for each in shot.queriers] == [("10.77.0.254", 2)]


# ---- two DHCP servers ----


@here
@pytest.mark.parametrize("port", PORTS)
def test_two_servers_are_seen_from_both_ports(port: str) -> None:
    alert = one(lab("two_dhcp" + port), "two-dhcp-servers")
    assert sorted(alert.facts["servers"]) == ["10.77.0.1", "192.168.77.1"]
    assert alert.severity == "now"
    assert alert.opened / NS > happened("two_dhcp", "a second DHCP server B is plugged in")
    assert alert.opened / NS < happened("two_dhcp", "both answer", "node3")


# ---- a switch that drops a group ----


@here
def test_the_silence_is_told_within_three_seconds() -> None:
    """The port counters behind the lab's record were read every 0.5 s."""
    alert = one(lab(DROP), "universe-silent")
    stopped = alert.facts["last"] / NS
    assert 2.5 < alert.opened / NS - stopped < 3
    assert abs(stopped - _switched_off()) < 1.5


def _switched_off() -> float:
    """When the switch stopped to pass the stream to the laptop after it had joined."""
    events = json.loads((LAB / "mcast_drop.truth.json").read_text())["events"]
    joined = next(each["t"] for each in events if each["actor"] == "lap")
    return next(float(each["t"]) for each in events if each["t"] > joined and each["what"] == "sends no stream to lap")


@here
def test_the_drop_is_told_and_proven_when_the_light_comes_back() -> None:
    alert = one(lab(DROP), "multicast-dropped")
    assert alert.title == "Multicast dropped after 13 s: the switch stopped passing universe 1 to this laptop"
    assert (alert.severity, alert.certainty) == ("now", "certain")
    assert alert.opened / NS < happened("mcast_drop", "power-cycled"), "likely by the first later sign of the desk"
    back = happened("mcast_drop", "an IGMP querier (v3, every 4 s) is switched on")
    assert alert.closed is not None
    assert back < alert.closed / NS < back + 11, "one response time after the query"
    changed = [each.at / NS for each in lab(DROP).happenings if each.what == "changed" and each.alert == alert.id]
    assert any(back < each < back + 11 for each in changed), "it became certain"


@here
def test_the_desk_is_never_called_lost() -> None:
    assert not alerts(lab(DROP), "source-lost")


@here
def test_the_silence_stands_under_the_drop() -> None:
    assert one(lab(DROP), "universe-silent").over == one(lab(DROP), "multicast-dropped").id


@here
@pytest.mark.parametrize("code", ["universe-silent", "multicast-dropped", "source-lost"])
def test_its_mirror_port_hears_all_the_time(code: str) -> None:
    assert not alerts(lab("mcast_drop"), code)


# ---- however they are cut ----


@here
@pytest.mark.parametrize("name", ["clean.ordinary_port", "mcast_drop", DROP, "two_dhcp", "two_dhcp.ordinary_port"])
def test_a_lab_capture_may_be_cut_anywhere(name: str) -> None:
    batches = [item for item in read(LAB / f"{name}.pcap") if isinstance(item, PacketBatch)]
    events: list[Event] = [Heard(int(each.time[row]), each.packet(row)) for each in batches for row in range(each.rows)]
    ports = batches[-1].ports
    whole = picture(play(events, ports))
    assert not difference(whole, picture(play(events, ports, cut=lambda place: place % 13 == 5)))
    assert not difference(whole, picture(play(events, ports, cut=cut_at({1, 100, len(events) - 1}))))


# ---- captures made elsewhere ----


@pytest.mark.skipif(not REALS, reason=f"captures made elsewhere are not at {REAL} (set NETWATCH_SHARED)")
@pytest.mark.parametrize("name", REALS)
def test_nothing_silly_is_said(name: str) -> None:
    """They show networks that worked: nothing stops the show. What is known of each file stands in SOURCES.tsv."""
    shot = told(REAL / name)
    lines = (REAL / "SOURCES.tsv").read_text().splitlines()
    assert shot.packets == int(next(line.split("\t")[5] for line in lines if line.startswith(name + "\t")))
    assert not [(each.code, each.title) for each in shot.alerts if each.severity == "now"]


NOT_READ = {
    "dhcp-bad-cookie.pcap": {"DHCP without a type": 3}, "dhcp-among-other-traffic.pcap": {"mld": 4},
    "igmp-bad-checksum.pcap": {"IGMP with a wrong sum": 1},
}  # fmt: skip
"""Five BOOTP messages, two of them DISCOVER, by scapy (SOURCES.tsv); one IGMP sum that is wrong by dpkt."""


@here
@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.name)
def test_every_capture_is_told_from_end_to_end(path: Path, tmp_path: Path) -> None:
    """No traceback; as many packets as dpkt counts; what was not read is a sentence, and a number in JSON."""
    with path.open("rb") as file:
        packets = len(list(dpkt.pcap.UniversalReader(file)))
    done = netwatch(tmp_path, "replay", "--json", path)
    capture = json.loads(done.stdout)["capture"]
    assert (capture["packets"], done.stderr) == (packets, b"")
    assert capture["undecoded"] == NOT_READ.get(path.name, {})
    shown = " ".join(netwatch(tmp_path, "replay", "--plain", path).stdout.decode().split())
    assert f"Read {packets:,} packets" in shown
    for reason, number in capture["undecoded"].items():
        assert f"{reason}: {number}." in shown
    assert ("Unread " in shown) == bool(capture["undecoded"])
