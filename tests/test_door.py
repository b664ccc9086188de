"""The door for 'netwatch mark'. Windows can't be run here: its way is tested with a socket elsewhere in place of its named pipe.

Pipes: Python's documentation of multiprocessing.connection, 'Address Formats' (r'\\\\.\\pipe\\NAME', family 'AF_PIPE'); the
file in the folder is no socket there, so it must come and go with the pipe.
"""

from __future__ import annotations

import os
import re
import socket
from collections.abc import Iterator
from contextlib import closing
from multiprocessing.connection import Client, address_type
from pathlib import Path

import pytest

from netwatch.commands import door
from netwatch.commands.door import Door, NoDoor
from netwatch.commands.mark import LONGEST

pytestmark = pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="needs local sockets")
Heard = list[tuple[str, int]]


@pytest.fixture(params=["socket", "pipe"])
def pipe(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Folders of its own; ``pipe`` = as on Windows, where what is connected to lies elsewhere than the file."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(door, "PATIENCE_S", 1.5)
    if request.param == "pipe":
        monkeypatch.setattr(door, "_WINDOWS", True)
        monkeypatch.setattr(door, "_address", lambda path: (str(tmp_path / f"pipe-{path.name}"), "AF_UNIX"))
    return bool(request.param == "pipe")


@pytest.fixture
def heard() -> Heard:
    return []


@pytest.fixture
def opened(pipe: bool, heard: Heard) -> Iterator[Door]:
    def hear(word: str, at: int) -> str:
        heard.append((word, at))
        return f"Marked: {word}"

    with closing(Door(hear)) as made:
        yield made


def files() -> list[Path]:
    return sorted(door.folder().iterdir())


@pytest.mark.usefixtures("opened")
def test_a_word_is_heard_and_answered(pipe: bool, heard: Heard) -> None:
    assert door.say("pond dark", 17) == ["Marked: pond dark"]
    assert heard == [("pond dark", 17)]
    (one,) = files()
    assert one.is_file() == pipe
    assert one.is_socket() != pipe


def test_once_closed_nobody_is_there(opened: Door) -> None:
    opened.close()
    assert files() == []
    assert door.say("x", 1) == []


@pytest.mark.usefixtures("opened")
def test_the_door_of_a_watch_that_died_goes(pipe: bool, heard: Heard) -> None:
    dead = door.folder() / "watch-999999"
    if pipe:
        dead.touch()
    else:
        with socket.socket(socket.AF_UNIX) as left:
            left.bind(str(dead))
    assert door.say("x", 1) == ["Marked: x"]
    assert not dead.exists()
    assert len(files()) == 1


def test_a_file_of_a_program_that_had_this_number_before(pipe: bool) -> None:
    (door.folder() / f"watch-{os.getpid()}").touch()
    with closing(Door(lambda word, at: word)):
        assert door.say("y", 1) == ["y"]


@pytest.mark.parametrize("told", [
    b"", b"{", b"[]", b'"x"', b'{"word": 1, "at": 2}', b'{"word": "x", "at": true}', b'{"word": "x"}', b"[" * 4000, b"\xff",
    b"x" * 5000,
])
def test_what_is_no_word_leaves_the_door_open(told: bytes, opened: Door, heard: Heard) -> None:
    (one,) = files()
    with Client(*door._address(one)) as visitor:
        visitor.send_bytes(told)
    assert door.say("after it", 2) == ["Marked: after it"]
    assert heard == [("after it", 2)]


def test_who_says_nothing_or_goes_at_once_blocks_nobody(opened: Door) -> None:
    (one,) = files()
    Client(*door._address(one)).close()
    with Client(*door._address(one)):
        assert door.say("x", 1) in (["Marked: x"], [])  # it waits as long as the door does for the silent one
    assert door.say("y", 1) == ["Marked: y"]


def test_who_can_not_be_let_in_is_no_end(opened: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where a program has too many files open."""
    listener, left = opened._listener, [OSError(24, "too many open files")] * 3
    accept = listener.accept

    def failing() -> object:
        if left:
            raise left.pop()
        return accept()

    monkeypatch.setattr(listener, "accept", failing)
    assert door.say("first", 1) == ["Marked: first"]
    assert [door.say(f"word {n}", 1) for n in range(2)] == [["Marked: word 0"], ["Marked: word 1"]]


def test_a_folder_that_others_may_write_to_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    (tmp_path / "netwatch").mkdir(mode=0o777)
    (tmp_path / "netwatch").chmod(0o777)
    with pytest.raises(NoDoor, match="is not yours alone; remove it, or take its rights from others"):
        door.folder()


def test_the_name_of_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "_WINDOWS", True)
    address, family = door._address(Path("anywhere") / "watch-123")
    assert (address, family) == ("\\\\.\\pipe\\netwatch-watch-123", "AF_PIPE")
    assert address_type(address) == "AF_PIPE"
    assert re.fullmatch(r"[\w-]+", address.removeprefix("\\\\.\\pipe\\"))


def test_the_longest_word_in_any_script_comes_through(opened: Door, heard: Heard) -> None:
    word = "\U0001f526" * LONGEST
    assert door.say(word, 1) == [f"Marked: {word}"]
