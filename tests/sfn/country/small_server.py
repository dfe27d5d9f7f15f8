"""A real HTTP server of the tests' own, with the layouts of the open sets: files under paths, and faults on purpose."""

import ssl
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

S3_DENIED = b"<?xml version='1.0'?><Error><Code>AccessDenied</Code><Message>Access Denied</Message></Error>"


@dataclass
class Store:
    """What a server has and how it behaves; `faults` hold for paths that end so.

    A fault is one of: ``403``, ``denied`` (403 as an object store says it), ``404``, ``407``, ``500 N`` (N times, then
    the file), ``429 N`` (the same, with Retry-After), ``slow N`` (a pause of N tenths of a second between pieces), ``silent`` (a pause that is
    longer than anybody waits), ``cut N`` (the connection ends after half, N times), ``changed`` (another entity tag
    at every answer), ``no ranges``, ``gzip``, ``wrong range``, ``to http``.
    """

    folder: Path
    faults: dict[str, str] = field(default_factory=dict)
    asked: list[tuple[str, str, str]] = field(default_factory=list)
    """Method, path and Range header of every request, in order."""
    agents: set[str] = field(default_factory=set)
    signed: set[str] = field(default_factory=set)
    counts: Counter[str] = field(default_factory=Counter)
    base: str = ""
    missing: int = 404
    """What it answers for a file that it does not have."""
    quota: int = -1
    """So many files are given, then everything is refused (403); -1: no end."""
    sent: int = 0
    """Bytes of whole answers."""

    def fault(self, path: str) -> tuple[str, int]:
        """What is wrong with a path, and its number."""
        text = next((fault for ending, fault in self.faults.items() if path.endswith(ending)), "")
        name, _, number = text.partition(" ")
        return (text, 0) if not number.isdigit() else (name, int(number))


class Handler(BaseHTTPRequestHandler):
    """Answers GET and HEAD."""

    protocol_version = "HTTP/1.1"
    store: Store

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Say nothing."""

    def do_HEAD(self) -> None:
        """Only whether it is there."""
        self.store.asked.append(("HEAD", self.path, ""))
        there = (self.store.folder / self.path.lstrip("/")).is_file() and not self.store.fault(self.path)[0]
        self.send_response(403 if not self.store.quota else 200 if there else self.store.missing)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def do_GET(self) -> None:
        """The file, a part of it, or the fault."""
        store, path = self.store, self.path
        store.asked.append(("GET", path, self.headers.get("Range", "")))
        store.agents.add(self.headers.get("User-Agent", ""))
        store.signed.add(self.headers.get("Authorization", ""))
        store.counts[path] += 1
        fault, number = store.fault(path)
        if not store.quota:
            return self._say(403, b"<html>enough for today</html>")
        if fault in ("403", "407"):
            return self._say(int(fault), b"<html>not for you</html>")
        if fault == "denied":
            return self._say(403, S3_DENIED)
        if fault in ("500", "429") and store.counts[path] <= number:
            return self._say(int(fault), b"later", {"Retry-After": "0"} if fault == "429" else {})
        if fault == "to http":
            return self._say(302, b"", {"Location": f"http://127.0.0.1:9{path}"})
        place = store.folder / path.lstrip("/")
        if fault == "404" or not place.is_file():
            return self._say(404 if fault == "404" else store.missing, b"<html>nothing here</html>")
        store.quota -= 1
        content = place.read_bytes()
        tag = f'"{len(content):x}-{store.counts[path] if fault == "changed" else 0}"'
        start = 0
        asked = self.headers.get("Range", "")
        if asked.startswith("bytes=") and fault != "no ranges" and self.headers.get("If-Range", tag) == tag:
            start = int(asked.removeprefix("bytes=").partition("-")[0])
            if start >= len(content):
                return self._say(416, b"", {"Content-Range": f"bytes */{len(content)}"})
            self.send_response(206)
            first = start + 1 if fault == "wrong range" else start
            self.send_header("Content-Range", f"bytes {first}-{len(content) - 1}/{len(content)}")
        else:
            self.send_response(200)
        self.send_header("Content-Length", str(len(content) - start))
        self.send_header("ETag", tag)
        if fault == "gzip":
            self.send_header("Content-Encoding", "gzip")
        self.end_headers()
        rest = content[start:]
        if fault in ("cut", "changed") and store.counts[path] <= max(number, 1):
            self.wfile.write(rest[: len(rest) // 2])
            self.wfile.flush()
            self.close_connection = True
            return None
        if fault == "silent":
            self.wfile.write(rest[: len(rest) // 2 if store.counts[path] == 1 else 0])
            self.wfile.flush()
            time.sleep(2.0)
            self.close_connection = True
            return None
        step = max(1, len(rest) // 8) if fault == "slow" else len(rest) or 1
        for at in range(0, len(rest), step):
            self.wfile.write(rest[at : at + step])
            self.wfile.flush()
            store.sent += len(rest[at : at + step])
            if fault == "slow":
                time.sleep(0.1 * max(number, 1))
        return None

    def _say(self, code: int, body: bytes, headers: dict[str, str] | None = None) -> None:
        """A short answer."""
        self.send_response(code)
        for name, value in (headers or {}).items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)


class _Quiet(ThreadingHTTPServer):
    """Says nothing of connections that the other side broke off."""

    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """Expected here."""


@contextmanager
def serving(store: Store, *, tls: tuple[Path, Path] | None = None) -> Iterator[Store]:
    """The store on a free port of loopback, with a certificate and key where it is to speak TLS."""
    handler = type("Bound", (Handler,), {"store": store})
    server = _Quiet(("127.0.0.1", 0), handler)
    if tls is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(*tls)
        server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    store.base = f"http{'s' if tls else ''}://127.0.0.1:{server.server_port}/"
    try:
        yield store
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)
