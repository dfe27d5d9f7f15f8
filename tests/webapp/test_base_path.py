"""Behind a proxy under a part of its addresses: every address that a page or an answer gives leads back there."""

import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from typing import Any

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.conftest import token_in
from tests.webapp.small_proxy import proxy, served
from webapp.app import create_app
from webapp.config.settings import Settings, read_settings
from webapp.store.store import Store

BASE = "/tools/delays"
OURS = {"Sec-Fetch-Site": "same-origin"}
_ADDRESS = re.compile(r'\b(?:href|src|action|formaction|data-[\w-]+)="(/[^"]*)"')
_LATER = re.compile(r"\.(pdf|xlsx|kml|kmz|zip|tif|geojson|png|svg|wav)(\?|$)|/record|/guide/")


def addresses_in(page: str) -> set[str]:
    """Every address that stands in a page, in whatever attribute."""
    return {unescape(found) for found in _ADDRESS.findall(page)}


def pattern(address: str) -> str:
    """One for all addresses of a kind."""
    return re.sub(r"\d+|(?<=/sites/)[^/?]+|(?<=/sheets/)[^/?]+|(?<=/ages/)[^/?]+", "N", address.split("?")[0])


@pytest.mark.parametrize("takes_off", [True, False], ids=["proxy takes it off", "proxy passes it on"])
def test_every_page_leads_back_under_the_base_path(settings: Settings, store: Store, takes_off: bool) -> None:
    """From the first screen over every link of every page, once each kind; nothing is asked beside the path."""
    app = create_app(replace(settings, base_path=BASE), store)
    walked: dict[str, int] = {}
    asked: dict[str, str] = {}
    with served(app) as port, proxy(port, BASE, takes_off=takes_off) as there, httpx.Client(timeout=120) as client:
        first = client.get(f"{there.address}{BASE}/")
        assert first.status_code == 200
        sent = {"csrf_token": token_in(first.text)}
        made = client.post(f"{there.address}{BASE}/networks/demo/fm_ridge", data=sent)
        assert (made.status_code, made.headers["location"]) == (303, f"{BASE}/networks/1")
        waiting = [f"{BASE}/", f"{BASE}/networks/1"]
        while waiting:
            address = waiting.pop(0)
            if pattern(address) in walked or _LATER.search(address):
                continue
            answer = client.get(f"{there.address}{address}", headers=OURS)
            walked[pattern(address)], asked[pattern(address)] = answer.status_code, address
            if "location" in answer.headers:
                assert answer.headers["location"].startswith(f"{BASE}/"), address
                waiting.append(answer.headers["location"].partition("#")[0])
            if answer.headers.get("content-type", "").startswith("text/html"):
                found = addresses_in(answer.text)
                assert {one for one in found if not one.startswith(f"{BASE}/")} == set(), address
                waiting += sorted(one.partition("#")[0] for one in found)
        assert there.strays == []
        # What is not there yet (pieces of a map whose levels nobody computed) is not there without a proxy either.
        away = [address for address, status in walked.items() if status == 404]
        for address in away:
            bare = asked[address].removeprefix(BASE)
            assert client.get(f"http://127.0.0.1:{port}{bare}", headers=OURS).status_code == 404, bare
    assert len(walked) > 60
    assert {address: status for address, status in walked.items() if status >= 500} == {}
    assert sum(status == 200 for status in walked.values()) > 40


def test_answers_for_scripts_lead_back_too(
    client_with: Callable[..., TestClient], store: Store, example: dict[str, Any]
) -> None:
    """Location of what was made, `next` of an action, and where OpenAPI's paths begin."""
    client = client_with(base_path=BASE)
    body = {"document": example, "author": "A", "reason": "made"}
    made = client.post(f"{BASE}/api/networks", json=body)
    assert (made.status_code, made.headers["location"]) == (201, f"{BASE}/api/networks/1")
    went = client.post(f"{BASE}/api/pages/networks/1/delete", json={}).json()
    assert went["next"] == f"{BASE}/api/pages/"
    assert client.get(f"{BASE}/api/openapi.json").json()["servers"] == [{"url": BASE}]
    asked = client.get(BASE, follow_redirects=False)
    assert (asked.status_code, asked.headers["location"]) == (307, f"{BASE}/")
    assert client.get("/healthz").json() == client.get(f"{BASE}/healthz").json() == {"status": "ok"}


def test_logging_in_leads_back_to_where_one_wanted_to_go(client_with: Callable[..., TestClient], store: Store) -> None:
    """The address kept between has no base path, and the way there has."""
    store.accounts.add("Ada", role="administrator", password="a-long-password-of-Ada")
    client = client_with(base_path=BASE)
    sent = client.get(f"{BASE}/users", follow_redirects=False).headers["location"]
    assert sent == f"{BASE}/log-in?after=%2Fusers"
    form = client.get(sent).text
    assert f'action="{BASE}/log-in"' in form
    data = {"csrf_token": token_in(form), "name": "Ada", "password": "a-long-password-of-Ada", "after": "/users"}
    done = client.post(f"{BASE}/log-in", data=data, follow_redirects=False)
    assert (done.status_code, done.headers["location"]) == (303, f"{BASE}/users")


def test_links_for_others_bear_the_path_once_and_never_the_name_that_was_asked(
    client_with: Callable[..., TestClient], store: Store, example: dict[str, Any]
) -> None:
    """On a sheet, by the public address with its path; without one there is no code, whatever name a request bears."""
    number = store.create(example, author="A", reason="made").network_id
    site = example["sites"][0]["id"]
    public = client_with(public_url=f"https://sfn.example.org{BASE}", base_path=BASE, allowed_hosts=("other.example",))
    for host in ("127.0.0.1", "sfn.example.org", "other.example"):
        page = public.get(f"{BASE}/networks/{number}/sheets/{site}", headers={"Host": host}).text
        assert f"https://sfn.example.org{BASE}/networks/{number}/sheets/{site}?revision=1" in page
        assert f"{BASE}{BASE}" not in page
        assert "other.example" not in page
    bare = client_with(allowed_hosts=("other.example",))
    page = bare.get(f"/networks/{number}/sheets/{site}", headers={"Host": "other.example"}).text
    assert "other.example" not in page
    assert bare.get(f"/networks/{number}/sheets/{site}/qr.svg", headers={"Host": "other.example"}).status_code != 200


def test_the_setting_is_the_public_addresss_path_unless_it_is_given(tmp_path: Any) -> None:
    """Two that contradict each other are refused, and what is no path."""

    def base(**given: str) -> str:
        return read_settings({f"SFN_DELAYS_{k}": v for k, v in given.items()}, data_folder=str(tmp_path)).base_path

    assert base() == ""
    assert base(BASE_PATH="/delays/") == "/delays"
    assert base(PUBLIC_URL="https://sfn.example.org/tools/delays/") == "/tools/delays"
    assert base(PUBLIC_URL="https://sfn.example.org/a", BASE_PATH="/a") == "/a"
    for wrong in ({"PUBLIC_URL": "https://sfn.example.org/a", "BASE_PATH": "/b"}, {"BASE_PATH": "delays"},
                  {"BASE_PATH": "/a b"}, {"BASE_PATH": "//evil.example"}):  # fmt: skip
        with pytest.raises(PlanError, match="SFN_DELAYS_BASE_PATH"):
            base(**wrong)


def test_a_path_that_begins_like_our_own_is_refused(settings: Settings, store: Store) -> None:
    """Nobody could tell one with it from one without."""
    for taken in ("/networks", "/api/x", "/static"):
        with pytest.raises(PlanError, match="and so do addresses of the application"):
            create_app(replace(settings, base_path=taken), store)
