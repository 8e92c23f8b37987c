"""A tiny server for the tests of the page, in a thread of its own: files, pictures and answers as it is told."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Sequence
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Final

from tests.page.scenes import START
from watchkeeper.picture.models import StationPicture

STATIC: Final = Path(__file__).resolve().parents[2] / "watchkeeper" / "page" / "static"
KINDS: Final = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
}
POLICY: Final = "default-src 'self'; media-src 'self' blob:"
CAN: Final = {
    "pilot": ["acknowledge", "shelve", "unshelve", "reset", "test", "confirm", "check", "uncheck"],
    "observer": ["acknowledge", "confirm", "sighted"],
    "post": ["acknowledge", "confirm", "test"],
    None: [],
}


class SceneServer:
    """Serves the page. `show` sets what pictures tell; `silent` stops them, `cut` ends their connections."""

    def __init__(self) -> None:
        self.changed = threading.Condition()
        self.pictures: list[dict[str, Any]] = []
        self.role: str | None = "pilot"
        self.orders: list[dict[str, Any]] = []
        self.answer: Callable[[], tuple[int, dict[str, Any]]] = lambda: (200, {"done": True})
        self.silent = self.down = self.closing = False
        self.still = False
        self.version = 0
        self.beats = 0
        self.httpd = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self.httpd.daemon_threads = True
        self.address = f"http://127.0.0.1:{self.httpd.server_port}"
        self.thread = threading.Thread(target=self.httpd.serve_forever, kwargs={"poll_interval": 0.05})
        self.thread.start()

    def show(self, pictures: Sequence[StationPicture], role: str | None = "pilot") -> None:
        """Send these from now on; the role of who connects hereafter."""
        with self.changed:
            self.pictures = [json.loads(picture.model_dump_json()) for picture in pictures]
            self.role, self.silent, self.down, self.still = role, False, False, False
            self.orders.clear()
            self.answer = lambda: (200, {"done": True})
            self.version += 1
            self.changed.notify_all()

    def set(self, **what: bool) -> None:
        """Set silent (no pictures), down (connections end, none is taken), still (the same picture again)."""
        with self.changed:
            for name, value in what.items():
                setattr(self, name, value)
            self.version += 1
            self.changed.notify_all()

    def close(self) -> None:
        """End it with all its connections."""
        self.set(closing=True)
        self.httpd.shutdown()
        self.httpd.server_close()
        self.thread.join(10)

    def _event(self) -> bytes:
        if not self.still:
            self.beats += 1
        pictures = [
            picture
            | ({"time": _later(picture["time"], 1.0 * self.beats)} if picture["state"] == "watching" else {})
            for picture in self.pictures
        ]
        return f"event: picture\ndata: {json.dumps(pictures)}\n\n".encode()

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        server = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def log_message(self, *_: object) -> None:
                pass

            def do_GET(self) -> None:
                path = self.path.split("?")[0]
                if server.down:
                    self.close_connection = True
                    self.connection.close()
                elif path == "/pictures":
                    self._stream()
                else:
                    self._file("index.html" if path == "/" else path.removeprefix("/static/"))

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if server.down:
                    self.close_connection = True
                    self.connection.close()
                    return
                if self.path == "/orders":
                    server.orders.append(json.loads(body))
                status, said = server.answer()
                self._send(status, "application/json", json.dumps(said).encode())

            def _file(self, name: str) -> None:
                file = (STATIC / name).resolve()
                if STATIC not in file.parents or not file.is_file():
                    self._send(404, "text/plain", b"")
                    return
                self._send(200, KINDS[file.suffix], file.read_bytes())

            def _send(self, status: int, kind: str, body: bytes) -> None:
                self.send_response(status)
                self.send_header("Content-Type", kind)
                self.send_header("Content-Length", str(len(body)))
                self.send_header("Content-Security-Policy", POLICY)
                self.send_header("Cache-Control", "no-store")
                self.end_headers()
                self.wfile.write(body)

            def _stream(self) -> None:
                self.send_response(200)
                self.send_header("Content-Type", "text/event-stream")
                self.send_header("Cache-Control", "no-store")
                self.send_header("Connection", "close")
                self.end_headers()
                self.close_connection = True
                role = {"role": server.role, "can": CAN[server.role]}
                try:
                    self.wfile.write(f"event: role\ndata: {json.dumps(role)}\n\n".encode())
                    while not (server.closing or server.down):
                        with server.changed:
                            seen = server.version
                            data = b": quiet\n\n" if server.silent else server._event()
                        self.wfile.write(data)
                        self.wfile.flush()
                        with server.changed:
                            server.changed.wait_for(lambda: server.version != seen, timeout=1.0)  # noqa: B023
                except OSError:
                    pass

        return Handler


def _later(time: str, by_s: float) -> str:
    then = START.fromisoformat(time) + timedelta(seconds=by_s)
    return then.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
