"""The lab's own Art-Net node. Its reply against the octets of Art-Net 4 (revision 1.4di, p.24 to 32)."""

from __future__ import annotations

from rig.artnet import FED, poll_reply

from netwatch.decode import artnet_records
from netwatch.decode.reader import Reader
from tests.decode.good import ART_POLLREPLY, HEAD

EXAMPLE = {"name": "Port 1", "mac": "02:00:00:0c:04:09", "told": "2.11.4.9", "own": "2.11.4.9"}


def test_a_reply_has_each_field_where_the_published_one_has_it() -> None:
    made = poll_reply(**EXAMPLE, index=1, numbers=[0x125], good=[0x88], count=42)
    assert len(made) == len(ART_POLLREPLY) == 239
    differ = [at for at, (ours, published) in enumerate(zip(made, ART_POLLREPLY, strict=True)) if ours != published]
    # Status1, LongName, Status2, GoodOutputB, Status3 and UID: another product's.
    assert {at for at in differ if not 44 <= at < 108} <= {23, 212, 213, 217, *range(218, 224)}


def test_a_node_tells_four_outputs_a_reply() -> None:
    made = poll_reply(**EXAMPLE, index=2, numbers=[0x7F4, 0x7F5, 0x7F6, 0x7F7], good=[FED, 0, 0, FED], count=1)
    reply = artnet_records.reply(Reader(made), HEAD)
    assert (reply.outputs, reply.inputs, reply.bind_index, reply.ports) == ((0x7F4, 0x7F5, 0x7F6, 0x7F7), (), 2, 4)
    assert (reply.good_output, reply.node_mac, reply.address) == ((FED, 0, 0, FED), EXAMPLE["mac"], EXAMPLE["told"])
