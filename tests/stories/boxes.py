"""The boxes of Hollowbrook Garden, an invented winter light trail. Every name, address and CID is made up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from uuid import NAMESPACE_DNS, uuid5


@dataclass(frozen=True)
class Box:
    """One box on the network."""

    name: str
    mac: str
    address: str
    physical: int = 0
    """Art-Net: input port."""

    @property
    def cid(self) -> bytes:
        """16 octets, always the same for a name."""
        return uuid5(NAMESPACE_DNS, self.name).bytes

    def at(self, address: str) -> Box:
        """The same box with another address."""
        return replace(self, address=address)

    def card(self, mac: str) -> Box:
        """The same box with another network card."""
        return replace(self, mac=mac)


def _box(name: str, number: int) -> Box:
    return Box(name, f"02:00:00:00:00:{number:02x}", f"10.0.0.{number}")


DESK = _box("gatehouse desk", 10)
BACKUP = _box("gatehouse backup", 11)
WALK = _box("lantern walk", 21)
POND = _box("mill pond", 22)
ORCHARD = _box("orchard", 23)
BOATHOUSE = _box("boathouse", 24)
SERVER = _box("office router", 1)
STRANGER = _box("a guest's router", 66).at("192.168.77.1")
SWITCH = _box("core switch", 254)
LAPTOP = _box("laptop", 99)

BOXES = {
    box.name: box for box in (DESK, BACKUP, WALK, POND, ORCHARD, BOATHOUSE, SERVER, STRANGER, SWITCH, LAPTOP)
}  # fmt: skip


def box(one: str | Box) -> Box:
    """A box by its name."""
    return one if isinstance(one, Box) else BOXES[one]
