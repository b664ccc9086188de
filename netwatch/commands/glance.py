"""``watch --page``: one page for a second screen, served from memory. Read-only; the address holds a secret."""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable, Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from ..exits import Exit, Stop
from ..packets.machine import Interface
from ..words import glance as words

LOOPBACK = "127.0.0.1"
OTHER = "other"
SECRET_BYTES = 24
"""192 bits."""
WAIT_S = 5.0
"""A client that says nothing for so long is let go."""
MOST_AT_ONCE = 8


def place(where: str, known: Mapping[str, Interface], watched: str) -> tuple[str, str | None]:
    """(address to serve at, a warning or None). ``where``: '' = this laptop only, 'other', or an interface. Raises ``Stop``."""
    if where in ("", LOOPBACK):
        return LOOPBACK, None
    addresses = {
        name: each.networks[0].partition("/")[0] for name, each in known.items() if each.networks and each.up and name != "lo"
    }
    if where == OTHER:
        rest = sorted((known[name].kind == "virtual", name) for name in addresses if name != watched)
        if not rest:
            raise Stop(Exit.USAGE, words.NO_OTHER)
        return addresses[rest[0][1]], None
    if where not in addresses:
        raise Stop(Exit.USAGE, words.unknown(where, ", ".join(sorted(addresses))))
    return addresses[where], words.on_the_rig(where) if where == watched else None


class Glance:
    """A server in threads of its own; ``draw`` makes the page anew for each look."""

    def __init__(self, address: str, draw: Callable[[], str]) -> None:
        """Raises ``Stop`` where the address can't be had."""
        secret = secrets.token_urlsafe(SECRET_BYTES)
        try:
            self._server = _Server((address, 0), _Handler)
        except OSError as error:
            raise Stop(Exit.UNREADABLE, words.refused(address, (error.strerror or "unknown reason").lower())) from None
        self._server.draw, self._server.secret = draw, secret
        port = self._server.server_address[1]
        self._server.hosts = frozenset({f"{address}:{port}", *([f"localhost:{port}"] if address == LOOPBACK else [])})
        self.address = f"http://{address}:{port}/{secret}"
        self._thread = threading.Thread(target=self._server.serve_forever, name="page", daemon=True)

    def start(self) -> None:
        """Serve until closed."""
        self._thread.start()

    def close(self) -> None:
        """Stop serving."""
        self._server.shutdown()
        self._server.server_close()

    def code(self) -> str:
        """The address as a code to scan: light half blocks on the terminal's dark ground."""
        import segno

        rows = [list(row) for row in segno.make(self.address, error="l", micro=False).matrix_iter(border=2)]
        rows += [[0] * len(rows[0])] if len(rows) % 2 else []
        signs = {(0, 0): "\u2588", (0, 1): "\u2580", (1, 0): "\u2584", (1, 1): " "}
        return "\n".join(
            "".join(signs[a, b] for a, b in zip(*pair, strict=True)) for pair in zip(rows[::2], rows[1::2], strict=True)
        )


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = False
    draw: Callable[[], str]
    secret: str
    hosts: frozenset[str]

    def __init__(self, address: tuple[str, int], handler: type[BaseHTTPRequestHandler]) -> None:
        super().__init__(address, handler)
        self._free = threading.BoundedSemaphore(MOST_AT_ONCE)

    def process_request(self, request: object, client_address: object) -> None:
        """More than a few at once are turned away: the watch must not starve."""
        if self._free.acquire(blocking=False):
            super().process_request(request, client_address)  # type: ignore[arg-type]
        else:
            self.shutdown_request(request)  # type: ignore[arg-type]

    def process_request_thread(self, request: object, client_address: object) -> None:
        try:
            super().process_request_thread(request, client_address)  # type: ignore[arg-type]
        finally:
            self._free.release()

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that went away, or talks nonsense, is no fault of ours."""


class _Handler(BaseHTTPRequestHandler):
    timeout = WAIT_S
    server: _Server
    server_version, sys_version = "netwatch", ""

    def do_GET(self) -> None:
        """The page, for who knows its whole address."""
        if self.headers.get("Host", "") not in self.server.hosts:
            self._answer(421, words.WRONG_HOST, "text/plain")
        elif hmac.compare_digest(self.path.encode("utf-8", "replace"), f"/{self.server.secret}".encode()):
            self._answer(200, self.server.draw(), "text/html")
        else:
            self._answer(404, words.NOT_HERE, "text/plain")

    do_HEAD = do_GET

    def _answer(self, code: int, text: str, kind: str) -> None:
        body = text.encode()
        self.send_response(code)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("X-Frame-Options", "DENY")
        self.end_headers()
        if self.command == "GET":
            self.wfile.write(body)

    def log_message(self, format: str, *arguments: object) -> None:
        """Nothing is written to the terminal."""
