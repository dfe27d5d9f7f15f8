"""The Services page: the shipped ones with sources, and a file of one's own that networks and maps then use."""

import os
import re
from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.cli import OWN_SERVICES, main
from sfn.systems.service import Service, service
from webapp.app import create_app
from webapp.config.settings import Settings
from webapp.store.store import Store

OWN = """
format = 1
[[service]]
id = "8-vsb"
"""


def in_force(store: Store) -> Service:
    """8-VSB as every document of a store is read under."""
    return service("8-vsb", own_services=store.own_services())


@pytest.fixture
def own_text(client: TestClient) -> str:
    """The shipped entry of 8-VSB with a mask of one's own, as a user would make it."""
    shipped = client.get("/services/shipped.toml").text
    start = shipped.index('id = "8-vsb"')
    begin = shipped.rindex("[[service]]", 0, start)
    end = shipped.find("\n[[", start)
    entry = shipped[begin : end if end > 0 else None]
    return f"format = 1\n\n{entry}"


def test_families_stand_with_their_sources(client: TestClient) -> None:
    """Every family with an example, how many modes, and where it is from."""
    html = client.get("/services").text
    for family in ("dvb-t2", "atsc3", "dab-mode-1", "8-vsb", "fm-stereo"):
        assert f">{family}</th>" in html
    assert "from memory" in html


def test_a_file_of_ones_own_wins_and_is_taken_back(
    client: TestClient, post: Callable[..., Any], own_text: str, settings: Settings, store: Store
) -> None:
    """Sent, in force for every answer, and gone when it is emptied."""
    before = in_force(store)
    changed = own_text.replace('name = "', 'name = "Ours: ', 1)
    assert post("/services/upload", text=changed).status_code == 303
    assert in_force(store).name.startswith("Ours: ")
    assert service("8-vsb") == before  # nobody else's
    assert "A file of your own is in use" in client.get("/services").text
    assert post("/services/upload", text="").status_code == 303
    assert in_force(store) == before
    assert not (settings.data_folder / "services.toml").exists()


@pytest.mark.parametrize("text", ["not toml [", "format = 1", 'format = 1\n[[service]]\nid = "x"\n', OWN])
def test_a_file_that_cannot_be_used_changes_nothing_and_is_kept_in_the_form(
    post: Callable[..., Any], settings: Settings, text: str
) -> None:
    """In words, with what was typed."""
    answer = post("/services/upload", text=text)
    assert answer.status_code == 422
    assert "services.toml" in answer.text
    assert text.strip().split("\n")[-1].split("=")[0].strip() in answer.text
    assert not (settings.data_folder / "services.toml").exists()


def test_commands_take_the_file_of_the_environment(
    tmp_path: Path, own_text: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One setting for every command."""
    (tmp_path / "mine.toml").write_text(own_text.replace('id = "8-vsb"', 'id = "my-vsb"'))
    monkeypatch.setitem(os.environ, OWN_SERVICES, str(tmp_path / "mine.toml"))
    assert main(["services", "my-vsb"]) == 0
    assert "my-vsb" in capsys.readouterr().out
    monkeypatch.delenv(OWN_SERVICES)
    assert main(["services", "my-vsb"]) == 2


def test_other_figures_of_a_service_show_in_the_checksum(
    client: TestClient, post: Callable[..., Any], store: Store, example: dict[str, Any], own_text: str
) -> None:
    """The same document under a file of one's own gives other results: sheet, delays and plan tell them apart."""
    example["service"] = "8-vsb"
    of_other = store.create(dict(example, service="fm-stereo"), author="t", reason="t").network_id
    number = store.create(example, author="t", reason="t").network_id

    def checksums(network: int) -> set[str]:
        """Those of answers to scripts, of a sheet, of the history and of what a document says itself."""
        sheet = client.get(f"/networks/{network}/sheets/north").text
        listed = client.get(f"/api/networks/{network}/revisions").json()
        said = store.read(network).revision.checksum, *(one.checksum for one in store.history(network))
        found = re.search(r"checksum <b>([0-9a-f]{8})</b>", sheet)
        assert found
        shown = {client.get(f"/api/networks/{network}/delays").json()["checksum"], found[1]}
        return shown | {one["checksum"] for one in listed} | set(said)

    before, other = checksums(number), checksums(of_other)
    assert len(before) == len(other) == 1
    assert post("/services/upload", text=own_text).status_code == 303
    assert checksums(number) == before  # the figures are the same
    changed = own_text.replace("noise_figure_db = ", "noise_figure_db = 1", 1)
    assert post("/services/upload", text=changed).status_code == 303
    assert len(checksums(number)) == 1
    assert checksums(number) != before
    assert checksums(of_other) == other
    assert post("/services/upload", text="").status_code == 303
    assert checksums(number) == before


def test_two_applications_do_not_share_a_file(tmp_path: Path, example: dict[str, Any], own_text: str) -> None:
    """One process, three data folders: each answers under its own file, whichever was asked last."""
    example |= {"service": "8-vsb", "frequency_mhz": 500.0, "time_stamps": {"meaning": "origin"}}
    figures = {"one": 17, "two": 5, "shipped": 20}
    clients, checksums = [], {}
    with ExitStack() as opened:
        for name, tolerance in figures.items():
            settings = Settings(
                tmp_path / name,
                f"sqlite:///{tmp_path / name}.sqlite",
                session_key="test-key-of-the-tests-that-nobody-guesses",
            )
            settings.data_folder.mkdir()
            if name != "shipped":
                text = re.sub(r"(?m)^tolerance_us = .*$", f"tolerance_us = {tolerance}", own_text)
                (settings.data_folder / "services.toml").write_text(text, encoding="utf-8")
            store = opened.enter_context(closing(Store(settings.database_url)))
            number = store.create(example, author="t", reason="t").network_id
            client = TestClient(create_app(settings, store), base_url="http://127.0.0.1:8430")
            clients.append((name, opened.enter_context(client), number))
        for name, client, number in (*clients, *reversed(clients)):
            sheet = client.get(f"/networks/{number}/sheets/north").text
            assert f"Tolerated error: <b>{figures[name] / 10:.2f}" in sheet
            found = client.get(f"/api/networks/{number}/delays").json()["checksum"]
            assert checksums.setdefault(name, found) == found

    assert len(set(checksums.values())) == 3


def test_a_service_is_found_by_words(client: TestClient) -> None:
    """The page tabulates guard interval and required C/N of what is found; the list under a field has the same."""
    text = client.get("/services", params={"q": "dvb-t 8k 1/4 8 MHz 64QAM 2/3"}).text
    table = text.partition('id="found"')[2].partition("</table>")[0]
    assert "dvb-t-8k-1/4-8mhz-64qam-2/3" in table
    assert "224.0\u202fµs" in table
    assert "22.3\u202fdB" in table
    found = client.get("/services/found.json", params={"q": "spain"}).json()["services"]
    assert [("dvb-t-8k-1/4-8mhz-64qam-2/3", "Spain")] == [(one["id"], one["usual_in"][0]) for one in found]
    assert "None has all of these words" in client.get("/services", params={"q": "zebra"}).text
    assert 422 == client.get("/services", params={"q": "x" * 201}).status_code


@pytest.mark.parametrize("unit", ["\u00b5s", "\u03bcs", " US "])
def test_what_people_type_is_read(client: TestClient, store: Store, unit: str) -> None:
    """A service by its name and a unit with either mu make a network; the document has id and unit."""
    typed = {
        "name": "My valley",
        "service": "DAB mode I",
        "frequency_mhz": "227.36",
        "sites-0-name": "Main mast",
        "sites-0-position-text": "36.3 -84.2",
        "sites-0-ground_m": "800",
        "sites-0-antenna_m": "50",
        "sites-0-erp_kw-v": "3",
        "sites-0-delay_fields-0-unit": unit,
        "sites-0-delay_fields-0-greatest": "2000000",
        "stages-0-latency_us": "120000",
        "author": "Ada",
    }
    answer = client.post("/api/pages/networks/new", json=typed, follow_redirects=False)
    assert answer.status_code < 400, answer.text
    document = store.read(1).document
    assert "dab-mode-1" == document["service"]
    assert "us" == document["sites"][0]["delay_fields"][0]["unit"]
