"""``netwatch reach`` as a shell sees it. What is true of two addresses is tested in ``tests/plan``."""

from __future__ import annotations

import pytest

from netwatch.cli import main


def test_both_ways_with_the_bits(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["reach", "10.0.1.5/24", "10.0.2.5/255.255.0.0"]) == 1
    shown = capsys.readouterr().out
    for text in (
        "mask 255.255.255.0 (/24), network 10.0.1.0 to 10.0.1.255", "00001010.00000000|00000010.00000101",
        "ONE WAY", "Only sACN multicast works both ways", "mask 255.255.0.0 (/16) on both they",
    ):
        assert text in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_all_comes_through(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["reach", "2.0.0.5/8", "2.12.0.9/8"]) == 0
    assert "reach each other in every way" in capsys.readouterr().out


@pytest.mark.parametrize(("words", "said"), [
    (["10.0.0.5"], "ADDRESS/MASK"),
    (["10.0.0.5", "10.0.0.6/24"], "10.0.0.5 lacks its mask; write 10.0.0.5/24"),
    (["010.0.0.5/8", "10.0.0.6/24"], "write 10.0.0.5."),
    (["10.0.0.5/8", "10.0.0.6/255.0.255.0"], "255.0.255.0 is no mask"),
    (["10.0.0.5/8", "239.255.0.1/8"], "is a multicast group, so no box can have it"),
])
def test_a_slip_is_one_sentence(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["reach", *words])
    out, complaint = capsys.readouterr()
    assert (code, out) == (2, "")
    assert said in complaint
    assert complaint.count("\n") == 1
