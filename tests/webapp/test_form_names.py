"""Names that a form under /api/pages has not are refused, each by itself; what pages read is accepted."""

import inspect
import json
import re
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from webapp.app import OWN, ROUTERS
from webapp.shell.api_pages import PREFIX
from webapp.shell.form_names import BEYOND, MOST_TOLD, Accepted, accepted
from webapp.shell.form_spelled import form_fields
from webapp.store.store import Store

DEMOS = Path(__file__).parents[2] / "demo_sites"
_READ = re.compile(r"""\b(?:form|sent|lists|files)(?:\.get\(|\[)"([a-z_]+)\"""")


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="first").network_id


def by_module() -> dict[str, list[Accepted]]:
    """What the addresses of each page module take."""
    forms, found = form_fields(), dict[str, list[Accepted]]()
    for router in (router for router in ROUTERS if router not in OWN):
        for route in router.routes:
            assert isinstance(route, APIRoute)
            if "POST" in route.methods:
                taken = accepted(route.path, forms.get(route.name, {}))
                found.setdefault(inspect.getsourcefile(route.endpoint) or "", []).append(taken)
    return found


def test_every_name_that_a_page_reads_is_accepted() -> None:
    """A field added to a page and to no template would be refused from scripts: it needs its line in `BEYOND`."""
    seen = 0
    for module, taken in by_module().items():
        text = Path(module).read_text(encoding="utf-8")
        for name in set(_READ.findall(text)):
            assert any(one.takes(name, None) for one in taken), (module, name)
            seen += 1
    assert seen > 60
    routes = {route.path for router in ROUTERS for route in router.routes if isinstance(route, APIRoute)}
    assert all(beyond.reason and beyond.route in routes for beyond in BEYOND)


@pytest.mark.parametrize(
    ("where", "fields", "unknown", "meant"),
    [
        ("map/keep", {"base": 1, "offset-nroth": 3, "author": "a"}, "offset-nroth", "offset-SITE?"),
        ("map/keep", {"base": 1, "offset-north": 3, "reasn": "x"}, "reasn", "reason?"),
        ("edit", {"base_revision": 1, "sites-0-offset": 3, "do": "save"}, "sites-0-offset", "sites-0-offset_us"),
        ("edit", {"base_revision": 1, "sites-0-position": "1,1"}, "sites-0-position", "by their place"),
        ("edit", {"base_revision": 1, "sites-9-name": "x", "do": "save"}, "sites-9-name", "counted from 0"),
        ("edit", {"base_revision": 1, "sites-0-chains-0-set-7": "1"}, "sites-0-chains-0-set-7", "counted from 0"),
        ("offsets/weights", {"base": 1, "drop-x": "yes"}, "drop-x", "drop-N"),
        ("delete", {"really": None}, "really", "no field but author"),
        ("measurements/keep", {"csv": "x", "hold-": "yes"}, "hold-", "hold-SITE"),
    ],
)
def test_a_name_nobody_reads_is_refused(
    client: TestClient, store: Store, number: int, where: str, fields: dict[str, Any], unknown: str, meant: str
) -> None:
    """As JSON and as a form: 422, the name, what is accepted; nothing is saved."""
    address = f"{PREFIX}/networks/{number}/{where}"
    token = client.get(f"/networks/{number}").text.partition('name="csrf_token" value="')[2].partition('"')[0]
    as_form = {name: value or "" for name, value in fields.items()}
    for sent in ({"json": fields}, {"data": as_form, "headers": {"X-CSRF-Token": token}}):
        answer = client.post(address, follow_redirects=False, **sent)  # type: ignore[arg-type]
        assert answer.status_code == 422, answer.text
        (problem,) = answer.json()["problems"]
        assert ("form-name-unknown", unknown) == (problem["code"], problem["where"])
        assert meant in problem["expected"]
    assert store.read(number).revision.number == 1


def test_author_is_taken_everywhere_and_many_names_are_told_in_part(client: TestClient, number: int) -> None:
    """A remark beside a proven name; a thousand unknown names make no thousand lists."""
    where = f"{PREFIX}/networks/{number}"
    many = {f"x{n}": "1" for n in range(1000)}
    problems = client.post(f"{where}/ages", json=many).json()["problems"]
    assert len(problems) == MOST_TOLD + 1
    assert problems[-1]["what"].startswith("980 more")
    assert client.post(f"{where}/delete", json={"author": "Ada"}, follow_redirects=False).status_code == 200


def test_a_second_site_of_a_new_network_is_not_lost(client: TestClient, store: Store) -> None:
    """The first form makes one site: a second one typed by a script is refused, not dropped."""
    problems = client.post(f"{PREFIX}/networks/new", json={"name": "x", "sites-1-name": "second"}).json()["problems"]
    assert [("form-name-unknown", "sites-1-name")] == [(one["code"], one["where"]) for one in problems]
    assert not store.summaries()


def test_a_script_saves_levers_as_the_maps_own_form_does(client: TestClient, store: Store) -> None:
    """Power and tilt of a site, with the licence thought of; a site that is not there is refused by name."""
    document = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    number = store.create(document, author="A", reason="r").network_id
    address = f"/api/pages/networks/{number}/map/keep"
    sent = {
        "author": "A",
        "reason": "less",
        "base": "1",
        "licence": "yes",
        "power-gap": "-2dB",
        "antenna-height-west": "31",
    }
    wrong = client.post(address, json=sent | {"power-gpa": "-2dB"})
    kept = client.post(address, json=sent)
    sites = {site["id"]: site for site in client.get(f"/networks/{number}/export.json").json()["sites"]}

    assert wrong.status_code == 422
    assert "power-gpa" in wrong.text
    assert kept.status_code == 200, kept.text
    was = next(site for site in document["sites"] if site["id"] == "gap")["erp_kw"]["h"]
    assert sites["gap"]["erp_kw"]["h"] == pytest.approx(was * 10**-0.2, rel=1e-3)
