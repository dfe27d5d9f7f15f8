"""Every address, walked by everybody: what each role may do, in a table of its own; nothing else changes anything."""

import html
import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from tests.webapp.conftest import EXAMPLE, token_in
from webapp.app import OWN, ROUTERS, create_app
from webapp.config.settings import Settings
from webapp.on_air.site_links import token_of
from webapp.shell.api_pages import second_places
from webapp.store import passwords
from webapp.store.store import MissingError, Store

WORDS = "several words do well"
# What the roles are for (issue 14), written a second time: none of this is taken from `webapp.store.roles`.
ROLES = {
    "viewer": {"compute"},
    "technician": {"record"},
    "controller": {"compute", "record", "issue", "control"},
    "planner": {"compute", "plan", "record", "issue"},
    "approver": {"compute", "record", "approve", "issue"},
    "administrator": {"compute", "plan", "record", "approve", "issue", "control", "administer"},
}
# Every address that does something, by what it takes; N is the network's. A new address has to be put in.
CHANGES = {
    "own": """/account/password /account/sessions/end /account/sign-out-everywhere /account/tokens
        /account/tokens/{token_id}/revoke /log-in /log-out /site/{token}""",
    "administer": "/services/upload /users /users/change /users/tokens/{token_id}/revoke",
    "approve": "N/change/approve N/sheets/issue N/sheets/{site_id}/sign",
    "control": "N/change/confirm/back N/change/confirm/begin N/change/confirm/end N/change/confirm/step",
    "issue": "N/packet N/packet.pdf N/readings/links N/readings/links/{link_id}/withdraw",
    "record": "N/measurements/rows N/timeline",
    "compute": """/jobs/{job_id}/cancel /jobs/{job_id}/again N/arrivals/upload N/change/levels N/drives/levels/upload N/drives/runs/upload
        N/links/advice N/losses/upload N/map/levels N/map/{key}/licence/upload N/measurements
        N/measurements/arrivals/upload N/measurements/echoes N/measurements/residuals.{form}
        N/measurements/recordings/upload N/offsets/find N/plans/find N/placing/find N/point/direct N/point/hear/upload N/road
        N/road.{form} N/road/again N/road/picked N/road/upload N/signals N/tables/upload""",
    "plan": """/networks /networks/demo/{key} /networks/import /networks/import/ground /networks/new N/ages N/coast/upload N/country N/country/fetch
        N/damaged/row N/damaged/{entry_id}/set-aside N/delete
        N/drives/shifts N/edit N/links/keep N/map/keep N/map/overlays/upload
        N/map/overlays/{overlay_id}/delete N/measurements/keep N/merge N/offsets/accept N/plans/accept N/placing/draft
        N/offsets/weights N/others N/others/upload N/people N/people/upload N/readings/restarts
        N/refractivity N/refractivity/upload N/readings/set-now N/restore N/revisions/{number}/restore
        N/sites/{site_id}/antenna N/states N/tables N/terrain N/terrain/upload N/undelete N""",
}
NEEDS = {
    re.sub("^N", "/networks/{network_id}", path): action for action, paths in CHANGES.items() for path in paths.split()
}
HIDDEN = {  # looking that takes more than a role
    "administer": ("/users", "/record", "/record.jsonl"),
    "issue": tuple(
        f"/networks/{{network_id}}/{end}" for end in ("readings/links", "readings/links.pdf", "packet/{job_id}")
    ),
}
LAST = ("/account/password", "/account/sign-out-everywhere", "/log-out")
OPEN = ("/log-in", "/site/", "/log-in/provider", "/log-in/provider/back", "/healthz", "/readyz")


@dataclass(frozen=True)
class Ground:
    """A team's application with one network, whose change is under way, and one link."""

    store: Store
    database: Path
    by: dict[str, TestClient]
    tokens: dict[str, str]
    gaps: dict[str, object]

    def send(self, role: str, method: str, path: str, **fields: str) -> Any:
        """Send a request to a route, its gaps filled, with the form token of whoever sends it."""
        where = re.sub(r"\{(\w+)\}", lambda gap: str(self.gaps[gap[1]]), path)
        headers = {"x-csrf-token": self.tokens[role]}
        return self.by[role].request(method, where, headers=headers, data=fields if method != "GET" else None)

    def kept(self) -> dict[str, list[Any]]:
        """All rows of the store but sessions, the record itself, and computations, which end on their own time."""
        with sqlite3.connect(self.database) as behind:
            names = [name for (name,) in behind.execute("select name from sqlite_master where type = 'table'")]
            apart = ("audit", "sessions", "jobs", "sqlite_sequence")
            found = {name: behind.execute(f"select * from {name}").fetchall() for name in names if name not in apart}
        behind.close()
        return found


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ground]:
    """Made once: walking leaves it as it is, but for what an administrator does."""
    routes()
    folder = tmp_path_factory.mktemp("walked")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(passwords, "PasswordHasher", lambda: PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        settings = Settings(folder, f"sqlite:///{folder / 'networks.sqlite'}", session_key="s" * 43, approval="other")
        store = Store(settings.database_url)
        for role in sorted(ROLES):
            store.accounts.add(role.capitalize(), role=role, password=WORDS)
        app = create_app(settings, store)
        with TestClient(app):
            nobody = TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False, follow_redirects=False)
            made = Ground(store, folder / "networks.sqlite", {"nobody": nobody}, {}, {})
            made.tokens["nobody"] = token_in(nobody.get("/log-in").text)
            for role in ROLES:
                sign_in(made, role)
            prepare(made, settings)
            yield made


def sign_in(made: Ground, role: str) -> None:
    """A browser of its own for a role."""
    client = TestClient(made.by["nobody"].app, base_url="http://127.0.0.1", raise_server_exceptions=False)
    client.follow_redirects = False
    fields = {"csrf_token": token_in(client.get("/log-in").text), "name": role, "password": WORDS}
    assert client.post("/log-in", data=fields).status_code == 303
    made.by[role], made.tokens[role] = client, token_in(client.get("/account").text)


def prepare(made: Ground, settings: Settings) -> None:
    """The example issued, approved, its change begun, a link given and a job done, each by a role that may."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    for stage in document["stages"][6:9]:
        stage |= {"source": "measured", "date": "2026-05-02", "tolerance_us": 0.1}
    document["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    number = made.store.create(document, author="Planner", reason="first").network_id
    made.gaps["network_id"] = number
    above = "/networks/{network_id}"

    def done(role: str, path: str, **fields: str) -> Any:
        answer = made.send(role, "POST", above + path, **fields)
        assert answer.status_code == 303, (path, answer.text)
        return answer

    for site in document["sites"]:
        made.gaps["site_id"] = site["id"]
        if "needs a sign-off" in made.send("approver", "GET", above + "/sheets/{site_id}").text:
            done("approver", "/sheets/{site_id}/sign", revision="1")
    done("approver", "/sheets/issue", revision="1")
    plan = made.send("approver", "GET", "/api/pages" + above + "/change").json()
    done("approver", "/change/approve", revision="1", checksum=plan["plan"]["checksum"], steps=plan["steps"])
    deadline = f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}"
    done("controller", "/change/confirm/begin", deadline=deadline)
    done("planner", "/readings/links", site=document["sites"][0]["id"])
    job = done(
        "planner",
        "/links/advice",
        typed="payload=compressed+audio",
        loss_pct="0.01",
        burst_packets="2",
        greatest_latency_ms="300",
    )
    (link,) = made.store.links.of(number)
    job_id = job.headers["location"].rpartition("/")[2]
    nothing = {"type": "FeatureCollection", "features": []}
    over = made.store.overlays.add(number, name="roads", attribution="", document=nothing, says=())
    made.gaps.update({
        "site_id": link.site_id, "token": token_of(settings.session_key, link), "link_id": link.id, "token_id": 1,
        "job_id": job_id, "job": job_id, "key": "x", "number": 1, "form": "csv", "name": "x", "sound": "x",
        "overlay_id": over, "entry_id": 1,
    })  # fmt: skip


@cache
def routes() -> list[tuple[str, str]]:
    """Every method and path of the application, pages and both interfaces.

    Made before an application's threads run: the framework silences a warning of its own for the whole process
    meanwhile, and another thread that does so too lets it through.
    """
    found = set()
    for router in (*ROUTERS, second_places(tuple(one for one in ROUTERS if one not in OWN))):
        for route in router.routes:
            inside = [route] if isinstance(route, APIRoute) else route.original_router.routes  # type: ignore[attr-defined]
            prefix = "" if isinstance(route, APIRoute) else router.prefix
            found |= {(method, prefix + one.path) for one in inside for method in one.methods}
    return sorted(found)


def bare(path: str) -> str:
    """A path without what says which interface it belongs to."""
    return re.sub(r"^/api(/pages)?(?=/)", "", path)


def may(role: str, action: str | None) -> bool:
    """Whether the table lets a role do it."""
    return action in (None, "own") or action in ROLES.get(role, ())


def refused(answer: Any) -> bool:
    """Whether a role was refused, and not somebody who planned what waits for another's approval."""
    return answer.status_code == 403 and "changed what is to be approved" not in answer.text


def action_of(path: str) -> str:
    """What doing something there takes."""
    found = NEEDS.get(bare(path))
    assert found, f"{path} is in no line of the table: who may do it?"
    return found


def test_every_address_is_walked(ground: Ground) -> None:
    """What the schema lists is among them; what does something is in the table, and nothing in it is gone."""
    every = set(routes())
    listed = ground.by["viewer"].get("/api/openapi.json").json()["paths"]
    assert {(method.upper(), path) for path, methods in listed.items() for method in methods} <= every
    changing = {path for method, path in every if method != "GET"}
    assert set(NEEDS) == {bare(path) for path in changing}


def test_nobody_sees_and_does_nothing(ground: Ground) -> None:
    """But for signing in and a link; sent to the log-in page, or 401. What is open shows nothing of the network."""
    before = ground.kept()
    for method, path in routes():
        answer = ground.send("nobody", method, path)
        if path.startswith(OPEN):
            assert answer.status_code < 500, (method, path)
            continue
        closed = 401 if path.startswith(("/api", "/metrics")) else 303
        assert answer.status_code == closed, (method, path, answer.status_code)
        assert closed == 401 or answer.headers["location"].startswith("/log-in"), path
        assert "North ridge" not in answer.text
    assert ground.kept() == before


@pytest.mark.parametrize("role", ROLES)
def test_looking_is_for_all_and_changes_nothing(ground: Ground, role: str) -> None:
    """But for users, the record and links. Every page of a viewer and a technician; of the others, what is guarded."""
    before = ground.kept()
    for method, path in routes():
        guard = next((action for action, paths in HIDDEN.items() if bare(path) in paths), None)
        if method != "GET" or (guard is None and role not in ("viewer", "technician")):
            continue
        answer = ground.send(role, method, path)
        assert answer.status_code < 500, (path, answer.text[:300])
        assert refused(answer) == (not may(role, guard)), (path, answer.status_code)
        if not path.startswith("/site/"):
            assert str(ground.gaps["token"]) not in answer.text or may(role, "issue"), path
    assert ground.kept() == before


class Offered(HTMLParser):
    """The addresses of the forms on a page that can be sent, and of those that only show their fields."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: str | None = None
        self.sent: set[str] = set()
        self.shown: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        """Forms that post, and the field sets in them that are disabled."""
        had = dict(attributes)
        if tag == "form" and had.get("method") == "post":
            self.open = (had["action"] or "").partition("?")[0].partition("#")[0]
            self.sent.add(self.open)
        elif tag == "fieldset" and "disabled" in had and self.open:
            self.sent.discard(self.open)
            self.shown.add(self.open)

    def handle_endtag(self, tag: str) -> None:
        """A form's end."""
        self.open = None if tag == "form" else self.open


def offered(ground: Ground, role: str) -> tuple[set[str], set[str]]:
    """By the routes they go to, the forms that a role can send and those that it only reads, on every page."""
    sent: set[str] = set()
    shown: set[str] = set()
    for method, path in routes():
        if method == "GET" and not path.startswith(("/api", "/site/")):
            answer = ground.send(role, "GET", path)
            if answer.headers.get("content-type", "").startswith("text/html") and answer.status_code == 200:
                found = Offered(answer.text)
                sent |= {route_of(one) for one in found.sent}
                shown |= {route_of(one) for one in found.shown}
    return sent, shown


def route_of(address: str) -> str:
    """The route that an address posts to: of those that fit, the one with the fewest gaps."""
    fitting = [
        path
        for method, path in routes()
        if method == "POST" and re.fullmatch(re.sub(r"\\?\{\w+\\?\}", "[^/]+", re.escape(path)), address)
    ]
    return min(fitting, key=lambda path: path.count("{"))


@pytest.mark.parametrize("role", ROLES)
def test_what_a_role_may_not_send_is_not_offered(ground: Ground, role: str) -> None:
    """Every form on every page that can be sent is not refused; what others send is read, with a line saying whose."""
    every, _ = offered(ground, "administrator")
    sent, shown = offered(ground, role)
    assert len(every) > 40
    assert {path for path in sent if not may(role, action_of(path))} == set()
    assert {path for path in shown if may(role, action_of(path))} == set()
    theirs = {path for path in every if may(role, action_of(path)) and action_of(path) != "own"}
    assert theirs - {"/jobs/{job_id}/cancel", "/jobs/{job_id}/again"} <= sent  # of one that ended: nothing to cancel
    if role == "viewer":
        assert "/networks/{network_id}/edit" in shown
        told = ground.by[role].get(ground.send(role, "GET", "/networks/{network_id}/edit").headers["location"]).text
        assert "For planners and administrators: as viewer you may not change plans." in told


def test_a_refused_form_gives_back_what_was_typed(ground: Ground) -> None:
    """A role taken while somebody typed: the answer has all of it, but for tokens and secrets; a script gets JSON."""
    typed = {
        "reason": "first line\nGap <b>&amp;</b> 12.5",
        "csrf_token": ground.tokens["viewer"],
        "password": "secret words",
    }
    where = ground.gaps["network_id"]
    page = ground.by["viewer"].post(f"/networks/{where}/edit", data=typed)
    assert page.status_code == 403
    (given,) = re.findall(r"<dl class=\"sent\">.*?</dl>", page.text, re.DOTALL)
    assert html.unescape(re.sub(r"<[^>]+>", " ", given)).split() == f"reason {typed['reason']}".split()
    assert typed["csrf_token"] not in given
    assert "secret words" not in page.text
    large = "x" * 40_000
    many = ground.by["viewer"].post(f"/networks/{where}/edit", data={**typed, "document": large})
    assert large in many.text
    asked = {"Accept": "application/json"}
    assert set(ground.by["viewer"].post(f"/networks/{where}/edit", data=typed, headers=asked).json()) == {"problems"}


@pytest.mark.parametrize("role", ROLES)
def test_each_role_does_what_it_is_for(ground: Ground, role: str) -> None:
    """Refused by the table and nothing else; a viewer and a technician leave every row of the store as it was."""
    before = ground.kept()
    for method, path in routes():
        action = action_of(path) if method != "GET" else None
        if method == "GET" or path in LAST:
            continue
        answer = ground.send(role, method, path)
        assert answer.status_code < 500, (method, path, answer.text[:300])
        if action == "own" or (path.endswith("/cancel") and may(role, action)):
            continue  # 403 for a wrong password, and for a job of somebody else
        assert refused(answer) == (not may(role, action)), (method, path, action, answer.status_code)
        if path.endswith("/delete") or method == "DELETE":
            with suppress(MissingError):  # it was not deleted
                ground.store.undelete(int(str(ground.gaps["network_id"])))
    if role in ("viewer", "technician"):
        assert ground.kept() == before
