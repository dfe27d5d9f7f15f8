"""Strangers' connections: bounded in number and time; another site's page fetches nothing and starts nothing."""

import asyncio
import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in
from webapp.config.limits import Limits
from webapp.shell.body_limit import BodyLimit
from webapp.shell.connections import protocol
from webapp.store.store import Store

LIMITS = Limits(connections=5, head_s=0.6, body_idle_s=1.5, body_s=3.0)


@pytest.fixture
def served() -> Iterator[tuple[str, int]]:
    """A real server with short times over a small application that reads its body."""

    async def reading(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        while (await receive()).get("more_body"):
            pass
        if scope["path"] == "/slow":
            await asyncio.sleep(1.2)
        await PlainTextResponse("read")(scope, receive, send)

    class Worded:
        """Says the status of what the limit raises, as the application's own handler does."""

        def __init__(self, app: Any) -> None:
            self.app = app

        async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
            from starlette.exceptions import HTTPException

            try:
                await self.app(scope, receive, send)
            except HTTPException as refused:
                await PlainTextResponse("no", refused.status_code)(scope, receive, send)

    listener = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        Worded(BodyLimit(reading, LIMITS)), http=protocol(LIMITS), log_config=None, access_log=False, lifespan="off"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield listener.getsockname()
    server.should_exit = True
    thread.join()


def said(held: socket.socket) -> bytes:
    """Everything that comes until the other side closes."""
    held.settimeout(30)
    found = b""
    try:
        while block := held.recv(65536):
            found += block
    except ConnectionResetError:
        pass
    return found


def test_a_head_that_crawls_is_given_up(served: tuple[str, int]) -> None:
    """Also on a connection that has asked for something before; a whole request is answered, however long it takes."""
    for first in (b"", b"GET / HTTP/1.1\r\nHost: x\r\n\r\n"):
        with socket.create_connection(served) as held:
            held.sendall(first)
            if first:
                assert b"200 OK" in held.recv(65536)
            held.sendall(b"GET / HTTP/1.1\r\nHost")
            assert b"200" not in said(held)
    with socket.create_connection(served) as held:
        held.sendall(b"GET /slow HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        assert b"200 OK" in said(held)


def test_further_connections_are_closed_and_places_come_free(served: tuple[str, int]) -> None:
    """Idle ones do not hold the server: after their time others are answered."""
    idle = [socket.create_connection(served) for _ in range(5)]
    answers = []
    for _ in range(100):  # first none is left, then the idle ones' time is over
        with socket.create_connection(served) as held:
            with contextlib.suppress(OSError):
                held.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
            answers.append(b"200 OK" in said(held))
        if answers[-1]:
            break
        time.sleep(0.1)
    assert answers[0] is False
    assert answers[-1] is True
    for one in idle:
        one.close()


def test_a_body_that_stalls_is_given_up(served: tuple[str, int]) -> None:
    """With the status that says so; one that comes in pieces is read."""
    with socket.create_connection(served) as held:
        held.sendall(b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\nbegun")
        assert b"408" in said(held)
    with socket.create_connection(served) as held:
        held.sendall(b"POST / HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: 4\r\n\r\n")
        for letter in (b"a", b"b", b"c", b"d"):
            time.sleep(0.5)
            held.sendall(letter)
        assert b"200 OK" in said(held)


ELSEWHERE = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}
LINK = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}


def test_a_body_that_drips_is_given_up(served: tuple[str, int]) -> None:
    """A byte now and then, never silent for long: ended once its time is over."""
    started = time.monotonic()
    with socket.create_connection(served) as held:
        held.sendall(b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 100000\r\n\r\n")
        held.settimeout(0.3)
        answer = b""
        while not answer and time.monotonic() - started < 15:
            with contextlib.suppress(TimeoutError):
                answer = held.recv(65536)
                break
            held.sendall(b"x")
    assert b"408" in answer
    assert 2.0 < time.monotonic() - started < 8.0


def test_another_sites_page_fetches_nothing(client: TestClient) -> None:
    """No picture, no frame, no script of it; a link opens a page."""
    for headers in (ELSEWHERE, {**LINK, "sec-fetch-dest": "iframe"}, {**ELSEWHERE, "sec-fetch-site": "same-site"}):
        assert client.get("/", headers=headers).status_code == 403
        assert client.get("/api/networks", headers=headers).status_code == 403
    assert client.get("/", headers=LINK).status_code == 200
    assert client.get("/", headers={"sec-fetch-site": "none"}).status_code == 200


def test_a_link_from_elsewhere_starts_no_computation(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """It says so, and the page's script starts nothing by itself; its button does."""
    number = store.create(example, author="test", reason="first").network_id
    where = f"/networks/{number}/map?pixel_m=2000"
    asked = client.get(where, headers=LINK)
    assert asked.status_code == 200
    assert "starts no computation" in asked.text
    assert "data-by-itself" not in asked.text
    assert "data-by-itself" in client.get(where, headers={**LINK, "sec-fetch-site": "same-origin"}).text
    sent = {"csrf_token": token_in(asked.text), "pixel_m": "2000"}
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.example"}):
        assert client.post(f"/networks/{number}/map/levels", data=sent, headers=headers).status_code == 403
    assert client.app.state.jobs._jobs == {}  # type: ignore[attr-defined]


def test_pieces_of_what_was_worked_out_are_opened_from_here_only(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Whatever way the number is written: the route is asked, not the text of the address."""
    number = store.create(example, author="test", reason="first").network_id
    place = "lat=36.28&lon=-84.19"
    for where in ("map/0123456789abcdef/shade.png", "offsets/0123456789abcdef/curve.svg"):
        assert client.get(f"/networks/{number}/{where}", headers=LINK).status_code == 403
        for spelled in (f"+{number}", f"%20{number}", f"{number}.0"):
            assert client.get(f"/networks/{spelled}/{where}", headers=LINK).status_code in (403, 404)
            assert client.get(f"/networks/{spelled}/{where}").status_code == 404
    assert client.get(f"/api/networks/{number}/point?{place}", headers=LINK).status_code == 403


def test_a_sender_that_goes_away_is_no_fault(client: TestClient, caplog: pytest.LogCaptureFixture) -> None:
    """Half a form and then nothing: a line in the log, and no traceback."""
    sent = iter([{"type": "http.request", "body": b"csrf_token=", "more_body": True}, {"type": "http.disconnect"}])
    told: list[Any] = []

    async def receive() -> Any:
        return next(sent)

    async def send(message: Any) -> None:
        told.append(message)

    scope = {
        "type": "http", "method": "POST", "path": "/networks/1/edit", "raw_path": b"/networks/1/edit",
        "query_string": b"", "scheme": "http", "server": ("127.0.0.1", 8430), "client": ("127.0.0.1", 1),
        "http_version": "1.1", "root_path": "",
        "headers": [(b"host", b"127.0.0.1:8430"), (b"content-type", b"application/x-www-form-urlencoded")],
    }  # fmt: skip
    with caplog.at_level("INFO"):
        asyncio.run(client.app(scope, receive, send))  # type: ignore[arg-type]
    assert "the sender went away at POST /networks/1/edit" in caplog.text
    assert "Traceback" not in caplog.text
    assert told == []
