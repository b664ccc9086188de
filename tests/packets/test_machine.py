"""What the laptop says of its interfaces, against what ip(8) and the kernel's own files say."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from netwatch.packets import machine
from netwatch.packets.machine import CannotListen, Interface
from tests import lab
from tests.lab import Lab

needs_lab = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
only_linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads Linux's own files")


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.1/21")
        made.ip("address", "add", "192.168.7.7/24", "dev", "near")
        made.ip("route", "add", "default", "via", "192.168.7.254")
        yield made


def told_by_ip(name: str) -> dict[str, object]:
    out = subprocess.run(["ip", "-json", "address", "show", name], capture_output=True, text=True, check=True).stdout
    return json.loads(out)[0]


@needs_lab
def test_an_interface_is_as_ip_shows_it(net: Lab) -> None:
    shown = told_by_ip("near")
    got = machine.usable("near")
    assert got.mac.hex(":") == shown["address"]
    assert list(got.networks) == [f"{each['local']}/{each['prefixlen']}" for each in shown["addr_info"]]
    assert got.mtu == shown["mtu"]
    assert (got.up, got.link) == ("UP" in shown["flags"], "LOWER_UP" in shown["flags"]) == (True, True)


@needs_lab
def test_facts_are_plain_and_follow_the_cable(net: Lab) -> None:
    facts = machine.facts(machine.usable("near"))
    assert json.loads(json.dumps(facts)) == facts
    assert facts["addresses"] == ["10.77.0.1/21", "192.168.7.7/24"]
    assert facts["gateway"] == "192.168.7.254"
    net.ip("link", "set", "far", "down")
    net.until(lambda: machine.facts(machine.interfaces()["near"])["link"] is False)  # the kernel tells it a little later
    net.ip("link", "delete", "far")
    assert machine.facts(machine.interfaces().get("near")) == {"present": False, "up": False, "link": False}


@needs_lab
def test_kinds_as_the_system_files_tell_them(net: Lab) -> None:
    """Through ip netns exec's own view of /sys, which shows this namespace."""
    net.ip("tuntap", "add", "tunnel", "mode", "tun")
    code = "from netwatch.packets import machine; print(machine.kind('near'), machine.kind('tunnel'), machine.kind('nowhere'))"
    mounted = "mount -t sysfs sysfs /sys && exec \"$@\""
    ran = subprocess.run(["unshare", "--mount", "sh", "-c", mounted, "sh", sys.executable, "-c", code],
                         capture_output=True, text=True, cwd=Path(__file__).parents[2], check=True)
    assert ran.stdout.split() == ["virtual", "tunnel", "unknown"]


@only_linux
@pytest.mark.parametrize(("entries", "kind"), [
    ({"type": "1", "wireless/": "", "device": ""}, "wifi"), ({"type": "1", "phy80211": ""}, "wifi"),
    ({"type": "1", "device": ""}, "wired"), ({"type": "1"}, "virtual"), ({"type": "772"}, "virtual"),
    ({"type": "65534"}, "tunnel"), ({"type": "1", "tun_flags": "0x1002"}, "tunnel"),
])
def test_kinds_by_the_files_of_an_interface(tmp_path: Path, entries: dict[str, str], kind: str) -> None:
    """Names from the kernel's Documentation/ABI/testing/sysfs-class-net and if_arp.h."""
    (tmp_path / "card").mkdir()
    for name, content in entries.items():
        if name.endswith("/"):
            (tmp_path / "card" / name).mkdir()
        else:
            (tmp_path / "card" / name).write_text(content + "\n")
    assert machine.kind("card", tmp_path) == kind


def test_the_signal_is_read_from_the_kernels_table(tmp_path: Path) -> None:
    """Layout as the kernel prints it (net/wireless/wext-proc.c); from memory, no wireless card was at hand."""
    table = tmp_path / "wireless"
    table.write_text(
        "Inter-| sta-|   Quality        |   Discarded packets               | Missed | WE\n"
        " face | tus | link level noise |  nwid  crypt   frag  retry   misc | beacon | 22\n"
        "wlan0: 0000   54.  -56.  -256        0      0      0      0     11        0\n"
    )
    assert machine.signal("wlan0", table) == -56
    assert machine.signal("wlan1", table) is None
    assert machine.signal("wlan0", tmp_path / "none") is None


def test_a_port_takes_over_what_is_known() -> None:
    interface = Interface("card", b"\2\0\0\0\0\1", ("10.0.0.5/16",), "wired", True, True, 1_000_000_000)
    port = machine.port(interface, 1, "library")
    assert (port.name, port.macs, port.networks, port.kind) == ("card", (b"\2\0\0\0\0\1",), ("10.0.0.5/16",), "wired")
    assert (port.speed, port.source, port.made_up) == (1_000_000_000, "library", False)


def test_a_name_that_is_not_there_is_one_sentence() -> None:
    with pytest.raises(CannotListen, match=r"^There is no interface 'x\[b\]\\x1b' on this laptop; those that are up: .*\.$"):
        machine.usable("x[b]\x1b")
