"""The JSON document. Keys and their order are the project's own schema 1; no outside source."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.packets.batch import FileSeen
from netwatch.story.document import document, seconds
from netwatch.story.snapshot import GroupView, Limit, LoadView, QuerierView
from tests.handmade import FILES, NS, START, alert, at, clean, empty, host, stream, troubled

CAPTURE = [
    "files", "interfaces", "listening", "packets", "bytes", "first", "last", "seconds", "dropped", "undecoded",
    "limits", "settings",
]  # fmt: skip
ALERT = [
    "id", "code", "severity", "certainty", "interface", "vlan", "subject", "title", "since", "opened", "last",
    "closed", "times", "again", "accepted", "facts", "packets", "bytes", "steps", "under",
]  # fmt: skip
STREAM = [
    "protocol", "universe", "source", "name", "address", "priority", "packets", "lost", "out_of_order", "repeated",
    "rate", "first", "last",
]  # fmt: skip


def begins(found: dict[str, object], keys: list[str]) -> bool:
    """The schema's keys come first and in order; additions stand behind them."""
    return list(found)[: len(keys)] == keys


def test_keys_and_their_order():
    made = document(troubled(), FILES)
    assert begins(made, ["schema", "capture", "alerts", "streams", "hosts", "dhcp_servers", "queriers", "groups"])
    assert made["schema"] == 1
    assert begins(made["capture"], CAPTURE)
    assert begins(made["capture"]["files"][0], ["name", "first", "packets"])
    assert begins(made["capture"]["listening"][0], ["interface", "from", "reasons"])
    assert begins(made["capture"]["limits"][0], ["table", "cap", "held", "refused", "evicted"])
    assert begins(made["alerts"][0], ALERT)
    assert begins(made["alerts"][0]["steps"][0], ["text", "disturbs"])
    assert begins(made["alerts"][2]["under"][0], ["code", "subject"])
    assert begins(made["streams"][0], STREAM)
    assert begins(made["hosts"][0], ["mac", "vendor", "addresses", "names"])
    assert begins(made["dhcp_servers"][0], ["address", "mac", "evidence"])
    assert begins(made["queriers"][0], ["address", "version", "queries", "interval"])


@pytest.mark.parametrize("made", [empty(), clean(), troubled()], ids=["empty", "clean", "troubled"])
def test_plain_json_takes_it_and_gives_it_back(made):
    found = document(made, FILES)
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_nothing_heard():
    capture = document(empty(), [])["capture"]
    assert (capture["first"], capture["last"], capture["seconds"], capture["packets"]) == (None, None, None, 0)


@given(st.integers(631_152_000 * NS, 7_258_118_400 * NS))
def test_times_are_rounded_to_microseconds(ns):
    exact = (Decimal(ns) / NS).quantize(Decimal("0.000001"), ROUND_HALF_UP)
    assert seconds(ns) == float(exact)
    assert len(repr(seconds(ns)).partition(".")[2]) <= 6


def test_times_of_an_alert():
    made = document(clean(alerts=(alert(3, "universe-silent", "now", {"universe": 7, "last": START}, closed=at(9)),)), FILES)
    found = made["alerts"][0]
    assert found["since"] == 1795627334.506315
    assert found["closed"] == 1795627340.506315
    assert found["facts"] == {"universe": 7, "last": 1795627331.506315}
    assert document(troubled(), FILES)["alerts"][0]["closed"] is None


def test_lists_are_in_order():
    streams = [stream(9), stream(2), stream(5, first=at(-1)), stream(2, vlan=3), stream(2, protocol="artnet")]
    hosts = [host("02:00:00:00:00:02", ()), host("02:00:00:00:00:01", ()), host("02:00:00:00:00:03", (), first=at(-1))]
    alerts = [
        alert(2, "source-lost", "now", {}, opened=at(5)),
        alert(1, "source-lost", "now", {}, opened=at(5)),
        alert(3, "x", "note", {}),
    ]
    queriers = [QuerierView("eth0", None, a, 2, 1, None, START) for a in ("10.0.0.20", "10.0.0.3", "0.0.0.0")]
    groups = [GroupView("eth0", None, g, None, "unknown", None, None, None, 0) for g in ("239.255.0.12", "239.255.0.7")]
    for turn in (1, -1):
        made = document(
            clean(
                streams=tuple(streams[::turn]),
                hosts=tuple(hosts[::turn]),
                alerts=tuple(alerts[::turn]),
                queriers=tuple(queriers[::turn]),
                groups=tuple(groups[::turn]),
                undecoded={"cut": 1, "broken": 2} if turn == 1 else {"broken": 2, "cut": 1},
            ),
            FILES,
        )
        assert [(s["universe"], s["protocol"], s["vlan"]) for s in made["streams"]] == [
            (5, "e131", None),
            (2, "artnet", None),
            (2, "e131", None),
            (2, "e131", 3),
            (9, "e131", None),
        ]
        assert [h["mac"][-1] for h in made["hosts"]] == ["3", "1", "2"]
        assert [a["id"] for a in made["alerts"]] == [3, 1, 2]
        assert [q["address"] for q in made["queriers"]] == ["0.0.0.0", "10.0.0.3", "10.0.0.20"]
        assert [g["group"] for g in made["groups"]] == ["239.255.0.7", "239.255.0.12"]
        assert list(made["capture"]["undecoded"]) == ["broken", "cut"]


def test_vlans_of_an_interface():
    loads = (LoadView("eth0", 20, "arp", 1, 60), LoadView("eth0", None, "arp", 1, 60), LoadView("eth0", 10, "arp", 1, 60))
    assert document(clean(loads=loads), FILES)["capture"]["interfaces"][0]["vlans"] == [10, 20]


def test_what_an_alert_explains():
    made = document(troubled(), FILES)["alerts"]
    assert [u["subject"] for u in made[2]["under"]] == ["universe:7", "universe:8"]
    assert [a["over"] for a in made] == [None, None, None, 3, 3, None]


def test_bytes_of_at_most_eight_packets():
    raw = {n: f"{n:02x}" for n in range(20, 0, -1)}
    found = document(clean(alerts=(alert(1, "x", "note", {}, bytes=raw),)), FILES)["alerts"][0]["bytes"]
    assert found == {str(n): f"{n:02x}" for n in range(1, 9)}


def test_facts_become_plain():
    facts = {
        "n": np.int64(3),
        "list": (np.uint8(1), 2),
        "share": np.float32(0.5),
        "never": math.inf,
        "set": {2, 1},
        "map": {1: b"x"},
    }
    found = document(clean(alerts=(alert(1, "x", "note", facts),)), FILES)["alerts"][0]["facts"]
    assert found == {"n": 3, "list": [1, 2], "share": 0.5, "never": None, "set": [1, 2], "map": {"1": "b'x'"}}
    json.dumps(found, allow_nan=False)


def test_accepted_alert():
    known = {"at": at(5), "until": None, "why": "the rehearsal needs both"}
    found = document(clean(alerts=(alert(1, "x", "soon", {}, accepted=known),)), FILES)["alerts"][0]["accepted"]
    assert found == {"at": seconds(at(5)), "until": None, "why": "the rehearsal needs both"}


def test_what_was_changed_and_what_was_full():
    made = replace(clean(), settings={"source_silent_s": 4.0}, limits=(Limit("hosts", 4, 4, 2, 1, at(1)),))
    capture = document(made, [FileSeen("a.pcap", 1, 2, "its last record is cut short")])["capture"]
    assert capture["settings"] == {"source_silent_s": 4.0}
    assert capture["limits"] == [
        {"table": "hosts", "cap": 4, "held": 4, "refused": 2, "evicted": 1, "first_hit": 1795627332.506315}
    ]
    assert capture["files"] == [{"name": "a.pcap", "first": 1, "packets": 2, "problem": "its last record is cut short"}]
