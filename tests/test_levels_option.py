"""netwatch replay --levels: what it takes, and what it gives."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from netwatch.cli import main
from netwatch.commands.looking import look
from netwatch.decode.tables import ARTNET, E131
from netwatch.exits import Exit, Stop
from netwatch.network.history import Look
from tests.packets import made
from tests.stories.script import stream


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("3/1-20", Look(E131, 3, 1, 20)), ("3/7", Look(E131, 3, 7, 7)), ("63999", Look(E131, 63_999)),
        ("0.1.5/1-20", Look(ARTNET, 21, 1, 20)),
        ("127.15.15/512", Look(ARTNET, 32_767, 512, 512)), ("a0/1-3", Look(ARTNET, 0, 1, 3)), ("A21", Look(ARTNET, 21)),
    ],
)  # fmt: skip
def test_what_it_takes(text: str, meant: Look) -> None:
    """sACN 1 to 63999 (E1.31-2018 9.1.1); Art-Net net, sub-net, universe of 7, 4 and 4 bits (Art-Net 4, Port-Address)."""
    assert look(text) == meant


@pytest.mark.parametrize(
    "text",
    [
        "", "/", "3/", "0/1", "64000", "3/0-5", "3/9-2", "3/1-513", "3/1-2-3", "0.16.0", "128.0.0", "a32768", "b1", "-3/1",
        "٣/1", "1.2",
    ],
)  # fmt: skip
def test_what_is_wrong_is_one_sentence(text: str) -> None:
    with pytest.raises(Stop) as stop:
        look(text)
    assert stop.value.code == Exit.USAGE
    assert str(stop.value).endswith("or 0.1.5/1-20 (also a21/1-20) for Art-Net.")


def test_text_and_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capture = tmp_path / "evening.pcap"
    events = stream(3, stop=2, levels=lambda i: bytes([i // 40 * 255]))
    capture.write_bytes(made.pcap([(event.frame, event.time) for event in events]))
    assert main(["replay", str(capture), "--levels", "3/1-2"]) == Exit.FINE
    assert "LEVELS OF UNIVERSE 3, DMX CHANNELS 1-2" in capsys.readouterr().out
    main(["replay", str(capture), "--levels", "3/1-2", "--json"])
    told = json.loads(capsys.readouterr().out)
    levels = told["levels"]
    assert (levels["universe"], levels["first_channel"], levels["last_channel"]) == (3, 1, 2)
    changes = [(change["packet"], change["levels"], change["source"]) for change in levels["changes"]]
    assert changes == [(1, "0000", 0), (41, "ff00", 0)]
    assert levels["sources"][0]["source"] == told["streams"][0]["source"]
    main(["replay", str(capture), "--json"])
    assert "levels" not in json.loads(capsys.readouterr().out)
    assert main(["replay", str(capture), "--levels", "3/x"]) == Exit.USAGE
