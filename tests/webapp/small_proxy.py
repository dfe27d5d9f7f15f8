"""A reverse proxy in some lines: what is under one path goes to the application, everything else is nobody's."""

import http.client
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import uvicorn
from fastapi import FastAPI

HOPS = {"connection", "keep-alive", "transfer-encoding", "upgrade", "te", "trailer"}


@dataclass
class Proxy:
    """Where it listens, and what was asked of it that is not under its path."""

    address: str
    strays: list[str] = field(default_factory=list)


@contextmanager
def served(app: FastAPI) -> Iterator[int]:
    """An application over HTTP on loopback; gives its port."""
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_config=None, access_log=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        thread.join(0.02)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(20)


@contextmanager
def proxy(port: int, base: str, *, takes_off: bool) -> Iterator[Proxy]:
    """A proxy before a port, which takes its path off or passes it on."""

    class Handler(BaseHTTPRequestHandler):
        """One request passed on."""

        def _pass(self) -> None:
            if not self.path.startswith(f"{base}/") and self.path != base:
                made.strays.append(self.path)
                self.send_error(404)
                return
            body = self.rfile.read(int(self.headers.get("content-length") or 0))
            path = (self.path.removeprefix(base) or "/") if takes_off else self.path
            there = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
            sent = {k: v for k, v in self.headers.items() if k.lower() not in HOPS}
            there.request(self.command, path, body=body or None, headers=sent | {"X-Forwarded-For": "192.0.2.7"})
            answer = there.getresponse()
            content = answer.read()
            self.send_response(answer.status)
            for name, value in answer.getheaders():
                if name.lower() not in HOPS | {"content-length", "date", "server"}:
                    self.send_header(name, value)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(content)
            there.close()

        do_GET = do_POST = do_HEAD = _pass  # noqa: N815

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002
            """Say nothing."""

    listener = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    made = Proxy(f"http://127.0.0.1:{listener.server_address[1]}")
    thread = threading.Thread(target=listener.serve_forever, daemon=True)
    thread.start()
    try:
        yield made
    finally:
        listener.shutdown()
        listener.server_close()
