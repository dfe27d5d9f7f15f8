"""The Services page: the shipped ones with sources, and a file of one's own that networks and maps then use."""

import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.cli import OWN_SERVICES, main
from sfn.systems.service import own_stamp, service, use_own_file
from webapp.settings import Settings
from webapp.store import Store

OWN = """
format = 1
[[service]]
id = "8-vsb"
"""


@pytest.fixture(autouse=True)
def forgotten() -> Iterator[None]:
    """Whatever a test used is not used by the next."""
    yield
    use_own_file(None)


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
    client: TestClient, post: Callable[..., Any], own_text: str, settings: Settings
) -> None:
    """Sent, in force for every answer, and gone when it is emptied."""
    before, stamp = service("8-vsb"), own_stamp()
    changed = own_text.replace('name = "', 'name = "Ours: ', 1)
    assert post("/services/upload", text=changed).status_code == 303
    assert service("8-vsb").name.startswith("Ours: ")
    assert own_stamp() != stamp
    assert "A file of your own is in use" in client.get("/services").text
    assert post("/services/upload", text="").status_code == 303
    assert service("8-vsb") == before
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
        """Those of the answer to scripts and of a sheet."""
        sheet = client.get(f"/networks/{network}/sheets/north").text
        found = re.search(r"checksum <b>([0-9a-f]{8})</b>", sheet)
        assert found
        return {client.get(f"/api/networks/{network}/delays").json()["checksum"], found[1]}

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
