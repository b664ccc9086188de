"""``netwatch laptop`` as a whole, in namespaces; and its text, from made-up pictures. Facts are the project's own."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from netwatch.packets.details import Air
from netwatch.packets.firewall import Firewall
from netwatch.report.laptop import render
from netwatch.story.own_laptop import NS, Card, Heard, Laptop, document
from tests import lab
from tests.lab import Lab
from tests.stories.boxes import DESK, ORCHARD, POND, WALK
from tests.stories.frames import announce, artdmx
from tests.test_own_faults import GATEHOUSE, light, sending

ROOT = Path(__file__).parent.parent
needs_lab = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.99/16")
        yield made


def laptop(*options: str, code: int | None = None) -> str:
    """What the verb writes, on one line."""
    done = ran(*options)
    assert code is None or done.returncode == code, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    return " ".join(done.stdout.split())


def ran(*options: str, before: str = "") -> subprocess.CompletedProcess[str]:
    program = f"import sys; {before}from netwatch.cli import main; sys.exit(main(['laptop', *sys.argv[1:]]))"
    return subprocess.run([sys.executable, "-c", program, *options], capture_output=True, text=True, cwd=ROOT, check=False)


# ---- as it is ----


@needs_lab
def test_a_sound_laptop(net: Lab) -> None:
    net.ip("address", "add", "10.77.0.10/32", "dev", "far")
    told = laptop("--on", "near", code=0)
    assert "near kind not told, link up" in told
    assert "10.77.0.99, mask 255.255.0.0 (/16), set by hand as far as the system tells no gateway" in told
    assert "No firewall rule is in the way (nftables)." in told
    assert "Nothing wrong was found" in told
    assert "'netwatch laptop --listen' does so" in told


@needs_lab
def test_two_interfaces_a_tunnel_and_a_firewall(net: Lab) -> None:
    """By what the system says alone."""
    net.pair("far2", "near2", "10.77.0.98/16")
    net.ip("tuntap", "add", "tun0", "mode", "tun")
    net.ip("address", "add", "10.99.0.1/32", "dev", "tun0")
    net.ip("link", "set", "tun0", "up")
    net.ip("route", "add", "10.77.128.0/17", "dev", "tun0")
    rules = "table ip t { chain c { type filter hook input priority 0; udp dport 5568 drop; }; }"
    subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
    told = json.loads(ran("--json").stdout)
    severe = {alert["code"]: alert["severity"] for alert in told["wrong"]}
    assert (severe["two-interfaces-one-network"], severe["tunnel-in-the-way"]) == ("soon", "soon")
    assert sum(alert["code"] == "two-interfaces-one-network" for alert in told["wrong"]) == 1
    near = next(card for card in told["interfaces"] if card["name"] == "near")
    assert (near["addresses"], near["firewall"]["blocked"], told["sound"]) == (["10.77.0.99/16"], [5568], False)
    assert next(card for card in told["interfaces"] if card["name"] == "tun0")["takes"] == ["10.77.128.0/17"]
    shown = laptop(code=4)
    assert "This laptop has two interfaces in one network" in shown
    assert "Linux Wi-Fi off: nmcli radio wifi off" in shown
    assert "takes 10.77.128.0/17" in shown


@needs_lab
def test_a_firewalls_rules_matter_little_where_frames_are_read(net: Lab) -> None:
    rules = "table ip t { chain c { type filter hook input priority 0; udp dport 5568 drop; }; }"
    subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
    told = laptop("--on", "near", code=0)
    assert "- TIDY A firewall on this laptop keeps sACN from its programs" in told
    assert "A firewall (nftables) is on: it keeps out sACN and it lets in Art-Net." in told


@needs_lab
def test_listening_tells_what_is_heard_and_sends_nothing(net: Lab) -> None:
    """The far end counts what comes from here: the kernel's own counter stands still."""
    def received() -> int:
        return int(Path("/proc/thread-self/net/dev").read_text().split("far:")[1].split()[1])

    before = received()
    with sending(net, "far", light):
        told = laptop("--on", "near", "--listen", "4", code=0)
    assert received() == before
    assert "Heard in 4 s: " in told
    assert "packets of Art-Net universe 0.0.0 (0) and 4 other boxes." in told


@needs_lab
def test_an_address_of_another_network_than_what_is_heard(net: Lab) -> None:
    far = [announce(box.at(f"10.9.0.{number}")) for number, box in enumerate((DESK, WALK, POND, ORCHARD), 10)]
    with sending(net, "far", lambda number: far):
        told = json.loads(ran("--on", "near", "--listen", "4", "--json").stdout)
    alert = next(each for each in told["wrong"] if each["code"] == "laptop-address")
    assert (alert["facts"]["what"], alert["facts"]["outside"], alert["facts"]["proposed"]) == ("elsewhere", 4, "10.9.0.250")
    assert told["sound"]


@needs_lab
def test_a_firewall_is_counted_while_listening(net: Lab) -> None:
    rules = "table netdev t { chain c { type filter hook ingress device near priority 0; udp dport 6454 drop; }; }"
    subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
    with sending(net, "far", light):
        told = json.loads(ran("--on", "near", "--listen", "12", "--json").stdout)
    alert = next(each for each in told["wrong"] if each["code"] == "firewall-in-the-way")
    assert (alert["severity"], alert["certainty"], alert["facts"]["ports"]) == ("soon", "certain", [6454])


@needs_lab
def test_nothing_heard(net: Lab) -> None:
    told = laptop("--on", "near", "--listen", "4", code=4)
    assert "Heard in 4 s: nothing of any other box." in told
    assert "~ QUALITY Nothing is heard on near: no other box speaks here" in told


def test_no_interface_at_all() -> None:
    if lab.WHY_NOT is not None:
        pytest.skip(lab.WHY_NOT)
    with lab.lab():
        assert "This laptop has no network interface" in laptop(code=4)


@needs_lab
def test_no_link(net: Lab) -> None:
    net.ip("link", "set", "far", "down")
    net.until(lambda: "no link" in laptop("--on", "near"))
    assert "No interface has a link" in laptop("--on", "near", code=4)


@needs_lab
@pytest.mark.parametrize(("options", "code", "says"), [
    (("--on", "eth9"), 3, "There is no interface 'eth9' on this laptop"),
    (("--listen", "1"), 2, "--listen"), (("--listen", "soon"), 2, "--listen"),
])
def test_bad_input_is_one_sentence(net: Lab, options: tuple[str, ...], code: int, says: str) -> None:
    done = ran(*options)
    assert (done.returncode, done.stdout) == (code, "")
    assert says in done.stderr
    assert len(done.stderr.splitlines()) == 1


@needs_lab
def test_without_rights_it_tells_what_it_can_and_does_not_listen(net: Lab) -> None:
    drop = "from netwatch.packets import rights; rights.drop(); "
    done = ran("--on", "near", before=drop)
    assert done.returncode == 0, done.stderr
    assert "10.77.0.99" in done.stdout
    done = ran("--listen", before=drop)
    assert done.returncode == 3
    assert "may not read frames" in done.stderr


# ---- its text ----

CABLE = Card(
    "eth0", "wired", True, True, 1_000_000_000, True, "full", 1500, "00:11:22:33:44:55", "A maker", ("10.0.0.5/16",), True,
    "10.0.0.1", "", (), "", None, Firewall("ufw", True), Heard(412, ("412 packets of sACN universes 1-4", "5 other boxes")),
)  # fmt: skip
AIR = replace(
    CABLE, name="wlan0", kind="wifi", speed=None, duplex="unknown", addresses=(), dhcp=None, gateway="", cell="02:00:00:00:01:00",
    air=Air("hollowbrook", "5 GHz", 36, -56, None, 433.3e6), firewall=Firewall("macOS firewall", True, by_program=True),
    heard=Heard(0, ()),
)  # fmt: skip
TUNNEL = replace(CABLE, name="tun0", kind="tunnel", link=False, used=False, speed=None, takes=("0.0.0.0/0", "10.0.0.0/8"),
                 dhcp=None, addresses=("10.99.0.1/32",), heard=None)  # fmt: skip
OFF = replace(TUNNEL, name="eth1", kind="wired", up=False, takes=(), addresses=(), firewall=None)


def picture(*cards: Card, **more: Any) -> Laptop:
    return Laptop("Linux", "Debian GNU/Linux 12", 1_795_627_331 * NS, more.pop("seconds", 10.0), cards, more.pop("wrong", ()))


@pytest.mark.parametrize("width", [40, 80, 110])
def test_every_interface_is_told_within_the_width(width: int) -> None:
    text = render(picture(CABLE, AIR, TUNNEL, OFF), width=width)
    assert all(len(line) <= width for line in text.splitlines())
    told = " ".join(text.split())
    for words in (
        "eth0 wired, link up, 1,000 Mbit/s, full duplex 10.0.0.5, mask 255.255.0.0 (/16), by DHCP gateway 10.0.0.1",
        "MAC 00:11:22:33:44:55 (A maker)",
        "A firewall (ufw) is on: what it keeps out is told to an administrator alone (sudo).",
        "Heard in 10 s: 412 packets of sACN universes 1-4 and 5 other boxes.",
        "wlan0 Wi-Fi, link up no address Wi-Fi network hollowbrook, 5 GHz, channel 36, signal -56 dBm, 433 Mbit/s, "
        "access point 02:00:00:00:01:00",
        "A firewall (macOS firewall) is on: it lets programs in one by one.",
        "Heard in 10 s: nothing of any other box.",
        "tun0 a tunnel, no link takes everything that has no other way and 10.0.0.0/8 10.99.0.1, mask 255.255.255.255 (/32)",
        "eth1 wired, switched off",
        "Nothing wrong was found with this laptop, as far as its system tells.",
    ):
        assert words in told


def test_part_of_a_bridge_and_not_listened() -> None:
    told = " ".join(render(picture(replace(CABLE, addresses=(), master="br0", heard=None), seconds=None)).split())
    assert "part of br0, which has the address" in told
    assert "no address" not in told
    assert "What is heard was not looked at" in told


def test_a_name_cannot_move_the_layout() -> None:
    text = render(picture(replace(CABLE, name="x\x1b[31m\n[b]", air=Air("evil\x1b[2J\nnet"), addresses=("10.0.0.5/16",))))
    assert "\x1b" not in text
    assert "evil" in text


def test_the_document_is_plain() -> None:
    told = document(picture(CABLE, AIR, TUNNEL, OFF))
    assert json.loads(json.dumps(told)) == json.loads(json.dumps(told, allow_nan=False))
    assert told["schema"] == 1
    assert told["interfaces"][1]["air"]["signal_dbm"] == -56


def test_light_reaches_a_plain_socket_in_the_namespace() -> None:
    """The test's own sender is heard as light, or all of the above would prove nothing."""
    if lab.WHY_NOT is not None:
        pytest.skip(lab.WHY_NOT)
    with lab.lab() as net, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as program:
        net.pair("far", "near", "10.77.0.99/16")
        program.bind(("", 6454))
        program.settimeout(5)
        net.send("far", artdmx(GATEHOUSE, 0, 1, to="10.77.255.255"))
        assert program.recv(2000).startswith(b"Art-Net\0")
