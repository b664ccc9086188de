"""``netwatch ask`` against real dnsmasq, nodes that answer polls and kernels that answer ARP; and what left the laptop."""

from __future__ import annotations

import contextlib
import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.l2 import ARP, Ether

from tests import lab
from tests.asking.rig import ROOT, Rig, heard_on
from tests.stories.boxes import LAPTOP, ORCHARD, POND, STRANGER, WALK

pytestmark = [
    pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT)),
    pytest.mark.skipif(shutil.which("dnsmasq") is None, reason="needs dnsmasq: apt-get install dnsmasq-base"),
]

RACK = replace(WALK, name="rack", mac="02:00:00:00:00:02", address="10.77.0.2")
HERE, NODE, TWIN = LAPTOP.at("10.77.0.99"), POND.at("10.77.0.22"), ORCHARD.at("10.77.0.22")
TALK = """
import contextlib, socket, time
out = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
while True:
    with contextlib.suppress(OSError):
        out.sendto(b"light", ("10.77.0.50", 6454))
    time.sleep(0.2)
"""
PLAN = """
[[subnet]]
network = "10.77.0.0/16"
[dhcp]
server = "rack"
[[device]]
name = "rack"
address = "10.77.0.2"
[[device]]
name = "mill pond"
address = "10.77.0.22"
[[device]]
name = "ice arch"
address = "10.77.0.23"
[[device]]
name = "far away"
address = "2.0.0.9"
"""


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    with lab.lab() as net, contextlib.ExitStack() as stack:
        switch = stack.enter_context(net.place())
        with switch.inside():
            net.ip("link", "add", "br0", "type", "bridge", "forward_delay", "0")
            net.ip("link", "set", "br0", "up")
        made = Rig(net, tmp_path, stack, switch)
        made.plug("near", HERE.mac)
        net.ip("address", "add", f"{HERE.address}/16", "broadcast", "+", "dev", "near")
        net.up("near")
        yield made


def plan(rig: Rig) -> str:
    path = rig.folder / "rig.toml"
    path.write_text(PLAN, encoding="utf-8")
    return str(path)


def from_us(frames: list[bytes]) -> list[Ether]:
    """The frames of the laptop's own MAC, but for what its kernel says by itself (answers to ARP)."""
    own = [Ether(frame) for frame in frames if frame[6:12].hex(":") == HERE.mac]
    return [each for each in own if not (ARP in each and each[ARP].op == 2)]


def test_two_dhcp_servers_answer_and_nothing_is_taken(rig: Rig) -> None:
    leases = [
        rig.dnsmasq(rig.box(RACK, 16, "rack"), "rack", "10.77.100.10", "10.77.100.99", "255.255.0.0"),
        rig.dnsmasq(rig.box(STRANGER, 24, "kiosk"), "kiosk", "192.168.77.50", "192.168.77.99", "255.255.255.0"),
    ]
    with heard_on("near") as sent:
        done = rig.ask("dhcp", "--on", "near", "--yes", "--json", "--plan", plan(rig))
    document = json.loads(done.stdout)
    (asked,) = document["asked"]
    told = {each["address"]: each for each in asked["answers"]}
    assert {address: (each["mac"], each["mask"], each["lease"], each["planned"]) for address, each in told.items()} == {
        "10.77.0.2": (RACK.mac, "255.255.0.0", 3600, True), "192.168.77.1": (STRANGER.mac, "255.255.255.0", 3600, False),
    }
    assert told["10.77.0.2"]["offered"].startswith("10.77.100.")
    assert [each["code"] for each in document["alerts"] if each["severity"] == "now"] == ["two-dhcp-servers"]
    evidence = {each["address"]: each["evidence"] for each in document["dhcp_servers"]}
    assert set(evidence) == set(told)
    assert all("answered this laptop" in each for each in evidence.values())
    assert all(each["asked_for"] for each in document["hosts"] if each["mac"] in (RACK.mac, STRANGER.mac))
    (question,) = from_us(sent)
    assert ("message-type", 1) in question[DHCP].options
    assert question[BOOTP].chaddr[:6].hex(":") == HERE.mac
    assert [each.read_text(encoding="utf-8") for each in leases] == ["", ""]
    assert done.returncode == 1


def test_inform_asks_for_settings_alone(rig: Rig) -> None:
    rig.dnsmasq(rig.box(RACK, 16, "rack"), "rack", "10.77.100.10", "10.77.100.99", "255.255.0.0")
    with heard_on("near") as sent:
        (answer,) = rig.asked("dhcp", "--inform")["answers"]
    assert (answer["address"], answer["offered"], answer["mask"], answer["lease"]) == ("10.77.0.2", "", "255.255.0.0", None)
    (question,) = from_us(sent)
    assert ("message-type", 8) in question[DHCP].options
    assert question[BOOTP].ciaddr == HERE.address


def test_nodes_answer_one_poll(rig: Rig) -> None:
    rig.node(rig.box(NODE, 16, "pond"), NODE, [0x10, 0x11], good=0x88)
    rig.node(rig.box(RACK, 16, "rack"), RACK, [0x125])
    with heard_on("near") as sent:
        asked = rig.asked("artnet", "--plan", plan(rig))
    assert [(each["address"], each["name"], each["outputs"], each["fed"], each["merging"]) for each in asked["answers"]] == [
        ("10.77.0.2", "rack", [293], [], []), ("10.77.0.22", "mill pond", [16, 17], [16, 17], [16, 17]),
    ]  # fmt: skip
    polls = [each for each in from_us(sent) if ARP not in each]
    assert [bytes(each)[42:52] for each in polls] == [b"Art-Net\0\x00\x20"]  # and no complaint that a port is closed
    rig.later()
    shown = rig.ask("artnet", "--on", "near", "--yes").stdout
    assert "0.1.0-0.1.1 (16-17)" in shown
    assert "merges 16-17; puts out 16-17" in shown
    assert "2 nodes answered." in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_kernels_answer_arp(rig: Rig) -> None:
    rig.box(RACK, 16, "rack")
    rig.box(NODE, 16, "pond")
    rig.box(TWIN, 16, "twin")
    with heard_on("near") as sent:
        asked = rig.asked("arp", "--plan", plan(rig))
    assert [(each["address"], each["name"], each["planned"]) for each in asked["answers"]] == [
        ("10.77.0.2", "rack", True), ("10.77.0.22", "mill pond", True),
    ]  # fmt: skip
    both = asked["answers"][1]
    assert {both["mac"], *both["rivals"]} == {NODE.mac, TWIN.mac}
    assert asked["silent"] == [{"address": "10.77.0.23", "name": "ice arch"}]
    probes = from_us(sent)
    assert [(each[ARP].op, each[ARP].psrc, each[ARP].hwsrc, each[ARP].pdst) for each in probes] == [
        (1, "0.0.0.0", HERE.mac, address) for address in ("10.77.0.2", "10.77.0.22", "10.77.0.23")
    ]


def test_a_polite_sweep(rig: Rig) -> None:
    rig.box(RACK, 16, "rack")
    asked = rig.asked("arp", "--sweep", "10.77.0.0/28")
    assert [each["address"] for each in asked["answers"]] == ["10.77.0.2"]
    assert len(asked["silent"]) == 13


def test_what_was_heard_is_asked(rig: Rig) -> None:
    place = rig.box(RACK, 16, "rack")
    with place.inside():  # light for a box that is not there: its kernel looks for it again and again
        talk = subprocess.Popen([sys.executable, "-c", TALK])
    try:
        asked = rig.asked("arp")
    finally:
        talk.kill()
        talk.communicate()
    assert [each["address"] for each in asked["answers"]] == ["10.77.0.2"]


def test_without_a_yes_nothing_is_sent(rig: Rig) -> None:
    rig.box(RACK, 16, "rack")
    for words in (("dhcp",), ("artnet",), ("arp", "--sweep", "10.77.0.0/28"), ("dhcp", "--phase", "show", "--yes")):
        with heard_on("near") as sent:
            done = rig.ask(*words, "--on", "near")
        assert (done.returncode, done.stdout, from_us(sent)) == (0, "", []), done.stderr
        assert done.stderr.rstrip().endswith("netwatch: Nothing was sent.")
        assert "--yes" in done.stderr
    assert not (rig.folder / "state" / "netwatch" / "asked.json").exists()


def test_in_a_show_it_takes_two(rig: Rig) -> None:
    done = rig.ask("dhcp", "--on", "near", "--yes", "--yes", "--phase", "show")
    assert "The phase is 'show'" in done.stderr
    assert "No DHCP server answered: boxes that wait for an address get none." in done.stdout


def test_one_a_minute(rig: Rig) -> None:
    assert "No DHCP server answered" in rig.ask("dhcp", "--on", "near", "--yes").stdout
    with heard_on("near") as sent:
        again = rig.ask("artnet", "--on", "near", "--yes")
    assert (again.returncode, again.stdout, from_us(sent)) == (2, "", [])
    assert "for one a minute is the limit." in again.stderr
    rig.later()
    assert "No node answered" in rig.ask("artnet", "--on", "near", "--yes").stdout


def test_what_was_kept_says_it_again(rig: Rig) -> None:
    rig.dnsmasq(rig.box(RACK, 16, "rack"), "rack", "10.77.100.10", "10.77.100.99", "255.255.0.0")
    kept = rig.folder / "kept.pcapng"
    live = json.loads(rig.ask("dhcp", "--on", "near", "--yes", "--json", "--keep", str(kept)).stdout)
    command = [sys.executable, "-m", "netwatch", "replay", str(kept), "--json"]
    again = json.loads(subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False).stdout)
    assert again["asked"] == live["asked"] != []
    shown = subprocess.run([*command[:-1], "--plain"], capture_output=True, text=True, cwd=ROOT, check=False).stdout
    assert "asked who gives addresses (DHCP DISCOVER, 1 packet)" in " ".join(shown.split())


@pytest.mark.parametrize(("words", "said"), [
    (("dhcp", "--on", "eth9"), "There is no interface 'eth9' on this laptop; those that are up: "),
    (("dhcp", "--on", "lo"), "lo has no MAC address"),
    (("arp", "--on", "near", "--sweep"), "That makes 65,536 addresses (10.77.0.0/16)"),
    (("arp", "--on", "near", "--sweep", "10.0.0.0/8"), "10.0.0.0/8 is not in a subnet of near (10.77.0.0/16)"),
    (("arp", "--on", "near", "--sweep", "10.77.0.5/24"), "the subnet is 10.77.0.0/24"),
    (("arp", "--on", "near", "--sweep", "all"), "'all' is no address"),
    (("arp", "--on", "near", "--plan", "none.toml"), "this plan can't be read"),
    (("artnet", "--on", "bare"), "bare has no IPv4 address, and this question needs one"),
    (("levels", "--on", "near"), "invalid choice: 'levels'"),
    ((), "WHAT"),
])
def test_slips(rig: Rig, words: tuple[str, ...], said: str) -> None:
    rig.net.pair("cable", "bare")
    with heard_on("near") as sent:
        done = rig.ask(*words, *(("--yes",) if words else ()))
    assert (done.stdout, from_us(sent)) == ("", [])
    assert done.returncode in (2, 3)
    assert said in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_sweep_of_a_class_a_net_is_refused_with_the_count(rig: Rig) -> None:
    rig.net.ip("address", "flush", "dev", "near")
    rig.net.ip("address", "add", "10.77.0.99/8", "dev", "near")
    done = rig.ask("arp", "--on", "near", "--sweep", "--yes")
    assert "That makes 16,777,216 addresses (10.0.0.0/8), 9.7 days of questions to every box; at most 1,024" in done.stderr
    assert done.returncode == 2


def test_without_rights_it_says_so(rig: Rig) -> None:
    code = (
        "import sys; from netwatch.packets import rights; rights.drop(); "
        "from netwatch.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    words = [sys.executable, "-c", code, "ask", "dhcp", "--on", "near", "--yes"]
    done = subprocess.run(words, capture_output=True, text=True, stdin=subprocess.DEVNULL, cwd=ROOT, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "near can't be sent on (operation not permitted); that needs the right to send, as sudo gives it." in done.stderr


