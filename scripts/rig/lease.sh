#!/bin/sh
# Sets the address that a DHCP client got, and nothing else. For udhcpc (first argument) and dhclient ($reason).
bits() { n=0; for octet in $(echo "$1" | tr . ' '); do
    while [ "$octet" -gt 0 ]; do n=$((n + octet % 2)); octet=$((octet / 2)); done; done; echo $n; }
case "${1:-$reason}" in
    bound|renew) address=$ip; bits=$mask ;;
    BOUND|RENEW|REBIND|REBOOT) address=$new_ip_address; bits=$(bits "$new_subnet_mask") ;;
    deconfig|EXPIRE|FAIL|RELEASE) ip address flush dev eth0; exit 0 ;;
    PREINIT) ip link set eth0 up; exit 0 ;;
    *) exit 0 ;;
esac
ip -o address show dev eth0 | grep -q " $address/$bits " && exit 0
ip address flush dev eth0
ip address add "$address/$bits" broadcast + dev eth0
ip route replace 224.0.0.0/4 dev eth0
ip route replace 255.255.255.255/32 dev eth0
arping -q -c 2 -i eth0 -U "$address" &
