"""What to click or type on each system, for alerts about the laptop.

Linux: nmcli(1), ip(8), ufw(8), firewall-cmd(1). macOS and Windows: by the names of their settings and manuals, from memory.
"""

from __future__ import annotations

from collections.abc import Mapping

LINUX, MACOS, WINDOWS = "Linux", "macOS", "Windows"
ORDER = (LINUX, MACOS, WINDOWS)

SYSTEMS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "two-interfaces-one-network": {
        LINUX: ("Wi-Fi off: nmcli radio wifi off (and on again with 'on'). Another interface: sudo ip link set NAME down.",),
        MACOS: ("Wi-Fi off: the Wi-Fi menu in the menu bar. Else System Settings, Network: set the service order, cable first.",),
        WINDOWS: ("Wi-Fi off: Settings, Network & internet, Wi-Fi. Another one: Control Panel, Network Connections, Disable.",),
    },
    "nothing-heard-here": {
        LINUX: ("ip link shows all interfaces; NO-CARRIER means no link. sudo ip link set NAME up switches one on.",),
        MACOS: ("System Settings, Network: a green dot means connected. An adapter for USB may need its driver.",),
        WINDOWS: ("Settings, Network & internet, Ethernet; 'Network cable unplugged' means no link.",),
    },
    "firewall-in-the-way": {
        LINUX: (
            "sudo ufw allow 5568/udp and sudo ufw allow 6454/udp; or sudo firewall-cmd --add-port=5568/udp --add-port=6454/udp.",
            "Rules of your own: sudo nft list ruleset shows them.",
        ),
        MACOS: ("System Settings, Network, Firewall, Options: allow the program; 'Block all incoming connections' must be off.",),
        WINDOWS: (
            "Settings, Privacy & security, Windows Security, Firewall: 'Allow an app through firewall', Private and Public.",
            "Or set the network to private: Settings, Network & internet, Ethernet, Private network.",
        ),
    },
    "tunnel-in-the-way": {
        LINUX: ("nmcli connection show lists it; nmcli connection down NAME ends it. ip route get ADDRESS shows the way.",),
        MACOS: ("System Settings, VPN: off; or in the VPN's own program. route get ADDRESS shows the way.",),
        WINDOWS: ("Settings, Network & internet, VPN: disconnect; or in the VPN's own program. route print shows all ways.",),
    },
    "laptop-address": {
        LINUX: (
            "Automatic: nmcli connection modify NAME ipv4.method auto. Fixed: ipv4.method manual ipv4.addresses ADDRESS/PREFIX.",
            "Then nmcli connection up NAME; without that program: sudo ip address add ADDRESS/PREFIX dev NAME.",
        ),
        MACOS: ("System Settings, Network, the interface, Details, TCP/IP: 'Using DHCP', or 'Manually' with address and mask.",),
        WINDOWS: ("Settings, Network & internet, Ethernet, IP assignment, Edit: 'Automatic (DHCP)', or 'Manual' with IPv4 on.",),
    },
}
"""By code, then by system."""
