"""'Known, leave it' as a file: its format is our own, so it is compared with itself; and ``replay --known``."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.alerts.alert import Accepted
from netwatch.alerts.catalogue import RULES
from netwatch.alerts.known import Left
from netwatch.alerts.rule import SEVERITIES
from netwatch.cli import main
from netwatch.commands import known_file
from netwatch.commands.job import Job
from netwatch.decode.text import clean
from netwatch.packets.batch import Port
from netwatch.packets.keep import Keeper
from tests.stories.boxes import DESK, POND
from tests.stories.playing import NS, items
from tests.stories.script import source, stream

LINE = "source-lost | eth0 | rig | soon | this job | hired like that"
SECOND = 1_795_627_331


def one(text: str) -> Left:
    (left,) = known_file.parse(text, "known.txt")
    return left


def test_a_line() -> None:
    assert one(LINE) == Left("source-lost", "eth0", "rig", Accepted(None, None, "hired like that", "soon"))


def test_notes_empty_lines_and_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "known.txt"
    path.write_bytes(b"\xef\xbb\xbf# of the job\r\n\r\n  " + LINE.encode() + b"\r\n")
    assert [left.code for left in known_file.read(path)] == ["source-lost"]


def test_everywhere_with_members_until_a_time_and_a_reason_with_a_bar() -> None:
    left = one("two-dhcp-servers | anywhere | rig | now: 10.0.0.1, 10.0.0.2 | 2026-11-26 06:00+01:00 | theirs | ours")
    assert (left.where, left.accepted.worst, left.accepted.of) == ("", "now", frozenset({"10.0.0.1", "10.0.0.2"}))
    assert left.accepted.until == int(datetime.fromisoformat("2026-11-26T05:00+00:00").timestamp()) * NS
    assert left.accepted.why == "theirs | ours"


def test_a_time_without_zone_is_the_laptops_own() -> None:
    until = one(LINE.replace("this job", "2026-11-26 06:00")).accepted.until
    assert until == int(datetime(2026, 11, 26, 6).timestamp()) * NS


@pytest.mark.parametrize(("text", "says"), [
    ("source-lost", "line 1: there are 1 columns, not 6 (what, where, which, at worst, until, why); for example"),
    (LINE.replace("source", "sorce"), "there is no alert 'sorce-lost'; did you mean 'source-lost'?"),
    (LINE.replace("source-lost", "xyz"), "there is no alert 'xyz'; 'netwatch explain' lists all codes."),
    (LINE.replace("eth0", ""), "'where' is empty; write the interface, as eth0 or eth0 VLAN 12, or 'anywhere'."),
    (LINE.replace("rig", ""), "'which' is empty; write the subject"),
    (LINE.replace("soon", "bad"), "'bad' is no severity; write note, tidy, quality, soon or now as 'at worst'."),
    (LINE.replace("this job", "tomorrow"), "'tomorrow' is no time; write 'this job', or a time as 2026-11-26 06:00."),
    (LINE.replace("this job", "2026-11-26"), "'2026-11-26' is no time"),
    (LINE.replace("this job", "2026-13-26 06:00"), "is no time"),
    (LINE.replace("this job", "0001-01-01 06:00"), "is no time"),
    (f"# x\n{LINE}\n{LINE}", "line 3: the same thing stands in line 2; keep one of the two."),
    ("\n".join(LINE.replace("rig", f"universe:{n}") for n in range(1, 1030)), "line 1025: at most 1,024 things"),
    (LINE.replace("source-lost", "\x1b[2J"), "there is no alert '\\x1b[2J'"),
])  # fmt: skip
def test_a_slip_is_one_sentence(text: str, says: str) -> None:
    with pytest.raises(known_file.BadKnown) as caught:
        known_file.parse(text, "known.txt")
    assert str(caught.value).startswith("known.txt, line ")
    assert says in str(caught.value)
    assert str(caught.value).isprintable()


TEXTS = st.text(max_size=30).map(lambda text: clean(text).replace("|", "").strip()).filter(lambda text: not text.startswith("#"))
LEFTS = st.builds(
    Left, st.sampled_from(sorted(RULES)), TEXTS.filter(lambda text: text != "anywhere"), TEXTS.filter(bool),
    st.builds(
        Accepted, st.none(), st.none() | st.integers(SECOND, SECOND + 10**9).map(lambda second: second * NS), TEXTS,
        st.sampled_from(SEVERITIES),
        st.none() | st.frozensets(TEXTS.map(lambda text: text.replace(",", "")).filter(bool), min_size=1),
    ),
)  # fmt: skip


@given(st.lists(LEFTS, max_size=5, unique_by=lambda left: (left.code, left.where, left.subject)))
def test_what_is_written_is_read_again(lefts: list[Left]) -> None:
    assert known_file.parse(known_file.written(lefts), "x") == lefts


def test_a_name_with_a_bar_is_left_out_rather_than_written_wrongly() -> None:
    bad = Left("source-lost", "a|b", "rig", Accepted(None, None, "", "soon"))
    assert known_file.parse(known_file.written([bad, one(LINE)]), "x") == [one(LINE)]


def test_today_ends_in_the_night() -> None:
    """Six in the morning: common practice, no source."""
    for now, end in (((25, 14), (26, 6)), ((25, 23), (26, 6)), ((26, 2), (26, 6)), ((26, 6), (27, 6))):
        moment = int(datetime(2026, 11, *now).timestamp()) * NS
        assert known_file.today_ends(moment, 6) == int(datetime(2026, 11, *end).timestamp()) * NS


# ---- kept for the job ----


def test_what_is_known_lasts_for_the_job(tmp_path: Path) -> None:
    path = tmp_path / "netwatch" / "known.txt"
    job = Job(path)
    assert job.load() == []
    job.save([one(LINE)])
    assert path.stat().st_mode & 0o077 == 0
    assert Job(path).load() == [one(LINE)]
    over = Left("source-lost", "", "rig", Accepted(None, 5 * NS, "", "soon"))
    job.save([one(LINE), over])
    assert Job(path).load() == [one(LINE)]
    assert Job(path).end()
    assert Job(path).load() == []
    assert not Job(path).end()
    assert (path.parent / "known-of-the-last-job.txt").exists()


def test_a_list_that_cannot_be_read_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "known.txt"
    path.write_text("nonsense\n")
    job = Job(path)
    assert job.load() == []
    assert job.problem is not None
    assert "line 1" in job.problem
    job.save([one(LINE)])
    assert path.read_text() == "nonsense\n"


def test_a_folder_that_cannot_be_written_is_no_end(tmp_path: Path) -> None:
    (tmp_path / "netwatch").write_text("a file")
    job = Job(tmp_path / "netwatch" / "known.txt")
    assert job.load() == []
    job.save([one(LINE)])
    assert job.problem is not None
    assert "not kept for the next watch" in job.problem


# ---- replay --known ----


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """A desk dies after 20 s; another one goes on."""
    events = sorted([*stream(1, DESK, hz=5, stop=20), *stream(9, POND, hz=5, stop=40)], key=lambda event: event.time)
    keeper = Keeper(tmp_path / "rig.pcapng")
    for item in items(events, (Port("eth0", 1),), lambda place: False):
        keeper.write(item)
    keeper.close()
    return tmp_path / "rig.pcapng"


def replay(capsys: pytest.CaptureFixture[str], *words: str | Path) -> tuple[int, str, str]:
    code = main(["replay", *map(str, words), "--from", "mirror", "--phase", "show"])
    out = capsys.readouterr()
    return code, out.out, out.err


def known(tmp_path: Path, *lines: str) -> Path:
    path = tmp_path / "known.txt"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def lost(worst: str = "now", where: str = "anywhere", of: Sequence[str] = ()) -> str:
    listed = f": {', '.join(of)}" if of else ""
    return f"source-lost | {where} | {source(DESK)} | {worst}{listed} | this job | spare desk, off on purpose"


@pytest.mark.parametrize("line", [lost(), lost(where="eth0"), lost(of=["1", "2"])])
def test_what_is_known_is_off_the_top_and_in_the_report(
    capture: Path, tmp_path: Path, line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert replay(capsys, capture)[0] == 1
    path = known(tmp_path, line)
    code, out, _ = replay(capsys, capture, "--known", path, "--json")
    told = json.loads(out)
    (alert,) = told["alerts"]
    assert (code, told["standing"]["known"], told["standing"]["now"]) == (0, 1, 0)
    assert alert["accepted"] == {
        "at": None, "until": None, "why": "spare desk, off on purpose", "worst": "now",
        "of": ["1", "2"] if ":" in line.split("|")[3] else None,
    }  # fmt: skip
    text = " ".join(replay(capsys, capture, "--known", path, "--plain")[1].split())
    assert "1 alert is known and left be." in text
    assert "known, leave it for this job: spare desk, off on purpose" in text


@pytest.mark.parametrize("line", [lost("soon"), lost(where="eth1"), lost(where="eth0 VLAN 7"), lost(of=["2"])])
def test_what_is_worse_or_elsewhere_is_told(capture: Path, tmp_path: Path, line: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = replay(capsys, capture, "--known", known(tmp_path, line), "--json")
    assert (code, json.loads(out)["standing"]["now"]) == (1, 1)


@pytest.mark.parametrize(
    ("text", "code", "says"), [("x | y\n", 2, "known.txt, line 1: there are 2 columns"), (None, 3, "check the name")]
)
def test_a_file_that_cannot_be_read(
    capture: Path, tmp_path: Path, text: str | None, code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = known(tmp_path, text) if text is not None else tmp_path / "none.txt"
    got, out, err = replay(capsys, capture, "--known", path)
    assert (got, out, len(err.splitlines())) == (code, "", 1)
    assert says in err
