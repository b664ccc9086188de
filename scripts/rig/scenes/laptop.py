"""The laptop itself is at fault: two cards in one network, a socket without light, a firewall, a tunnel, no proper address."""

from __future__ import annotations

from rig.lan import Host
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT
from rig.switches import OpenSwitch

LIGHT, EMPTY = 10, 30
"""VLANs."""
DROPS = "table inet wall { chain in { type filter hook input priority 0; policy accept; udp dport 5568 drop; }; }"


def rig(stage: Stage, address: str = "10.77.0.99/16") -> tuple[Host, Host, Host]:
    """A desk, two nodes that talk, and the laptop; the captures run."""
    lap = stage.host("lap", address)
    gatehouse, lantern, pond = stage.hosts(gatehouse="10.77.0.10/16", lantern="10.77.0.21/16", pond="10.77.0.22/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    return lap, gatehouse, lantern


@scenario("a second card of the laptop comes up in the same network", settings=SHORT, laptop=True)
def two_cards(stage: Stage) -> None:
    lap, gatehouse, _ = rig(stage)
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    stage.join(lap, 1)
    stage.at(3)
    stage.lan.second_card("lap", "10.77.0.98/16")
    stage.say("lap", "its second card is plugged into the same switch", "second")
    stage.at(31)


@scenario("the laptop listens on a card whose socket leads nowhere; its other card hears the rig",
          settings=SHORT | {"nothing_heard_s": 14.0}, switch=OpenSwitch, laptop=True)
def wrong_socket(stage: Stage) -> None:
    stage.lan.host("lap", "192.168.30.99/24", vlan=EMPTY, heard=False)
    stage.lan.second_card("lap", "10.77.0.98/16", LIGHT)
    gatehouse, lantern, pond = (
        stage.lan.host(name, address, vlan=LIGHT) for name, address in
        (("gatehouse", "10.77.0.10/16"), ("lantern", "10.77.0.21/16"), ("pond", "10.77.0.22/16"))
    )
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    stage.at(26)


@scenario("a firewall is switched on at the laptop: light comes to the card, and no program gets it", settings=SHORT,
          needs=("nft",), laptop=True)
def firewall(stage: Stage) -> None:
    lap, gatehouse, lantern = rig(stage)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.join(lantern, 1)
    stage.join(lap, 1)
    stage.at(7)
    for host in (lap, stage.mon):
        host.do("nft", DROPS)
    stage.say("lap", "a firewall drops what comes to the port of sACN", "firewall")
    stage.at(24)


@scenario("a tunnel comes up at the laptop and takes half of the rig's network", settings=SHORT, laptop=True)
def tunnel(stage: Stage) -> None:
    lap, gatehouse, lantern = rig(stage)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.join(lantern, 1)
    stage.join(lap, 1)
    stage.at(7)
    for host in (lap, stage.mon):
        host.do("ip", "tuntap", "add", "tun0", "mode", "tun")
        host.do("ip", "address", "add", "10.99.0.2/32", "dev", "tun0")
        host.do("ip", "link", "set", "tun0", "up")
        host.do("ip", "route", "add", "10.77.128.0/17", "dev", "tun0")
    stage.say("lap", "a tunnel takes 10.77.128.0/17", "tunnel")
    stage.at(22)


@scenario("the laptop made up an address, the rig has proper ones", settings=SHORT | {"own_address_wait_s": 14.0}, laptop=True)
def made_up_address(stage: Stage) -> None:
    lap, gatehouse, lantern = rig(stage, "169.254.7.9/16")
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.join(lantern, 1)
    stage.join(lap, 1)
    stage.at(26)
