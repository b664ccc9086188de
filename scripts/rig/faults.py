"""What goes wrong on cables, by the kernel's packet filter in the sender's namespace."""

from __future__ import annotations

from rig.lan import Host
from rig.shelter import RUN

TABLE = """table netdev faults {{
  chain out {{
    type filter hook egress device eth0 priority 0
    {rule}
  }}
}}
"""

DEAF = """table netdev deaf {
  chain in {
    type filter hook ingress device eth0 priority 0
    ip protocol igmp drop
  }
}
"""


def lose(host: Host, per_mille: int) -> None:
    """So many of a thousand light packets that the host sends are lost, by chance."""
    _rule(host, f"udp dport {{ 5568, 6454 }} numgen random mod 1000 < {per_mille} counter drop")


def double(host: Host, per_mille: int) -> None:
    """So many of a thousand light packets leave twice. The copy passes the hook again, hence the mark."""
    chance = f"numgen random mod 1000 < {per_mille}"
    _rule(host, f"udp dport {{ 5568, 6454 }} meta mark != 7 {chance} meta mark set 7 counter dup to eth0")


def deafen(host: Host) -> None:
    """The host gets no IGMP any more, as behind a switch or a driver that keeps it away."""
    _load(host, DEAF)


def _rule(host: Host, rule: str) -> None:
    _load(host, TABLE.format(rule=rule))


def _load(host: Host, table: str) -> None:
    path = RUN / f"{host.name}.nft"
    path.write_text(table, encoding="utf-8")
    host.do("nft", "-f", str(path))
