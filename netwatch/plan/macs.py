"""MAC addresses as people write them."""

from __future__ import annotations

import re

from netwatch.network.vendors import is_group
from netwatch.plan.addresses import shown


class BadMac(ValueError):
    """What is wrong and what was meant: one sentence without its full stop."""


def mac(text: str) -> str:
    """'aa:bb:cc:dd:ee:ff' from that, from aa-bb-.., aabb.ccdd.eeff or aabbccddeeff. Raises ``BadMac``."""
    digits = re.sub(r"[\s:.\-]", "", text).lower()
    if not re.fullmatch(r"[0-9a-f]{12}", digits):
        raise BadMac(f"{shown(text.strip())} is no MAC address; write six pairs of 0-9 and a-f, as 02:00:00:00:00:23")
    found = ":".join(digits[at : at + 2] for at in range(0, 12, 2))
    if is_group(found) or not int(digits, 16):
        raise BadMac(f"{found} is the MAC address of {'a group' if int(digits, 16) else 'nobody'}; read it off the box")
    return found
