"""The page for a second screen: what it shows, and who may see it."""

from __future__ import annotations

import http.client
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlsplit

import pytest

sys.path.insert(0, str(Path(__file__).parent / "screens"))
from screen_helpers import alert, snapshot

from netwatch.commands.glance import LOOPBACK, Glance, place
from netwatch.exits import Stop
from netwatch.packets.machine import Interface
from netwatch.report.glance import page
from netwatch.story.snapshot import Check, Snapshot


class Shown(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture
def served() -> Iterator[tuple[Glance, list[Snapshot]]]:
    shown = [snapshot()]
    made = Glance(LOOPBACK, lambda: page(shown[0]))
    made.start()
    yield made, shown
    made.close()


def ask(url: str, *, host: str | None = None, path: str | None = None, method: str = "GET") -> tuple[int, dict[str, str], str]:
    parts = urlsplit(url)
    line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=10)
    line.request(method, path or parts.path, headers={"Host": host} if host else {})
    answer = line.getresponse()
    return answer.status, dict(answer.getheaders()), answer.read().decode()


def test_it_shows_checks_alerts_and_first_steps_at_the_moment_of_each_look(served: tuple[Glance, list[Snapshot]]) -> None:
    glance, shown = served
    status, headers, text = ask(glance.address)
    told = Shown(text).text
    assert status == 200
    assert "2 NOW" in told
    assert "Find the box with MAC 02:00:00:00:00:4d" in told
    assert all(check.name in told for check in snapshot().checks)
    assert "spare box" not in told
    assert headers["Cache-Control"] == "no-store"
    shown[0] = snapshot(alerts=())
    assert "No alert is open" in Shown(ask(glance.address)[2]).text


def test_it_has_no_script_fetches_nothing_and_renews_itself_every_5_s() -> None:
    """CSP Level 3: default-src 'none' lets nothing in that isn't named."""
    shown = Shown(page(snapshot()))
    assert not {"script", "link", "img", "iframe", "form", "object", "embed"} & set(shown.tags)
    assert not any(name.startswith("on") or name in ("src", "href") for name, _ in shown.attributes)
    assert ("content", "5") in shown.attributes
    policy = next(str(value) for _, value in shown.attributes if value and value.startswith("default-src 'none'"))
    assert "script-src" not in policy
    assert "unsafe" not in policy


def test_the_address_holds_192_random_bits_and_nothing_else_answers(served: tuple[Glance, list[Snapshot]]) -> None:
    """RFC 4648 section 5: 24 octets are 32 signs of base64url."""
    glance, _ = served
    assert re.fullmatch(r"http://127\.0\.0\.1:[0-9]+/[A-Za-z0-9_-]{32}", glance.address)
    other = Glance(LOOPBACK, str)
    assert other.address.rpartition("/")[2] != glance.address.rpartition("/")[2]
    other._server.server_close()
    for path in ("/", "/favicon.ico", urlsplit(glance.address).path + "x", urlsplit(glance.address).path[:-1], "/%00"):
        status, _, text = ask(glance.address, path=path)
        assert status == 404
        assert "checks" not in text.lower()


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", ""])
def test_a_foreign_host_name_is_refused(served: tuple[Glance, list[Snapshot]], host: str) -> None:
    """Against DNS rebinding. RFC 9110 7.4: 421 Misdirected Request."""
    glance, _ = served
    assert ask(glance.address, host=host or " ")[0] in (400, 421)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_it_only_reads(served: tuple[Glance, list[Snapshot]], method: str) -> None:
    assert ask(served[0].address, method=method)[0] == 501


def test_names_from_packets_are_text() -> None:
    evil = "<script>alert(1)</script>\"'><b>"
    text = page(snapshot(alerts=(alert(1, "now", evil, first_step=evil),), checks=(Check(evil, "FINE", evil),)))
    assert "<script>" not in text
    assert "<b>&" not in text
    assert evil in Shown(text).text


KNOWN = {
    "lo": Interface("lo", networks=("127.0.0.1/8",), up=True),
    "eth0": Interface("eth0", networks=("10.0.0.50/24",), up=True),
    "wlan0": Interface("wlan0", networks=("192.0.2.7/24",), up=True),
    "eth1": Interface("eth1", up=True),
}


def test_where_it_is_served() -> None:
    assert place("", KNOWN, "eth0") == (LOOPBACK, None)
    assert place("other", KNOWN, "eth0") == ("192.0.2.7", None)
    address, warning = place("eth0", KNOWN, "eth0")
    assert address == "10.0.0.50"
    assert warning is not None
    assert "lighting network" in warning
    with pytest.raises(Stop, match="There are: eth0, wlan0"):
        place("eth9", KNOWN, "eth0")
    with pytest.raises(Stop, match="no other connection"):
        place("other", {"eth0": KNOWN["eth0"]}, "eth0")


def test_the_code_is_one_that_a_phone_reads(served: tuple[Glance, list[Snapshot]]) -> None:
    """ISO/IEC 18004: light border, three finder patterns of 7 modules; light modules are drawn, on a dark ground."""
    lines = served[0].code().split("\n")
    modules = [[sign in pair for sign in line] for line in lines for pair in ("\u2588\u2580", "\u2588\u2584")]
    light = modules[: len(modules[0])]
    assert all(all(row) for row in light[:2])
    finder = [[not light[2 + y][2 + x] for x in range(7)] for y in range(7)]
    assert finder == [[max(abs(x - 3), abs(y - 3)) != 2 for x in range(7)] for y in range(7)]


@pytest.mark.skipif(not shutil.which("chromium"), reason="needs chromium (apt-get install chromium)")
def test_in_a_browser_of_360_by_740_nothing_sticks_out(served: tuple[Glance, list[Snapshot]], tmp_path: Path) -> None:
    picture = tmp_path / "page.png"
    subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}/profile", "--hide-scrollbars",
         "--window-size=360,740", f"--screenshot={picture}", served[0].address],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    assert picture.read_bytes()[16:24] == (360).to_bytes(4, "big") + (740).to_bytes(4, "big")


def test_watch_serves_it_until_it_ends() -> None:
    words = [sys.executable, "-m", "netwatch", "watch", "--on", "lo", "--for", "20", "--plain", "--page"]
    watch = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    try:
        assert watch.stderr is not None
        line = next(line for line in watch.stderr if "second screen" in line)
        address = re.search(r"http://\S+", line)
        assert address
        status, _, text = ask(address[0])
        assert status == 200
        assert "This laptop can be trusted" in text
    finally:
        watch.terminate()
        watch.communicate(timeout=30)
    with pytest.raises(ConnectionError):
        ask(address[0])
