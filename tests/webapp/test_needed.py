"""A form that nobody has filled in says calmly what is needed; what is wrong is told once it is saved."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_editing import press
from webapp.forms.needed import names_of, parted
from webapp.store.documents import network_of

ON_TOP, AT_FIELD, INVALID = "to put right before this can be saved", 'class="field-problem error"', "aria-invalid"


@pytest.fixture
def network(post: Callable[..., Any], example: dict[str, Any]) -> str:
    """The example, imported."""
    answer = post("/networks/import", files={"file": ("mine.json", json.dumps(example))}, author="Ada")
    return str(answer.headers["location"])


def test_a_site_just_added_shows_no_error(client: TestClient, network: str) -> None:
    """What is needed stands in one line that leads to each field, also on the page of its chain."""
    added = press(client, client.get(network), "add sites")
    assert 200 == added.status_code
    for said in (ON_TOP, AT_FIELD, INVALID):
        assert said not in added.text
    assert "Still needed:" in added.text
    assert 'href="#sites-3-antenna_m"' in added.text
    chain = press(client, added, "go chain 3")
    assert ON_TOP not in chain.text
    assert "-latency_us" in chain.text.partition("Still needed:")[2].partition("</p>")[0]


def test_errors_come_after_saving_and_where_something_else_stands(client: TestClient, network: str) -> None:
    """Saved as it is, every gap is an error at its field; a word where a number belongs is one at once."""
    added = press(client, client.get(network), "add sites")
    saved = press(client, added, "save", author="Ada")
    assert 422 == saved.status_code
    assert ON_TOP in saved.text
    assert 'id="sites-3-antenna_m-problem1"' in saved.text
    wrong = press(client, added, "go network", **{"sites-3-antenna_m": "forty"})
    assert ON_TOP in wrong.text
    assert "forty" in wrong.text.partition(ON_TOP)[2]


@pytest.mark.parametrize(
    ("stage", "missing"),
    [
        ({"kind": "other"}, {"stages-0-latency_us"}),
        ({"kind": "feeder", "velocity_factor": 0.88}, {"stages-0-length_m"}),
        ({"kind": "time-stamped section"}, {"stages-0-release_delay_us"}),
        ({"kind": "other", "latency_us": 1, "source": "measured"}, {"stages-0-date"}),
    ],
)
def test_a_stage_names_the_keys_it_lacks(example: dict[str, Any], stage: dict[str, Any], missing: set[str]) -> None:
    """The refusal says which, so that the form marks these fields alone."""
    document = {**example, "stages": [{"id": example["stages"][0]["id"], **stage}, *example["stages"][1:]]}
    with pytest.raises(Exception, match="missing") as refused:
        network_of(document, "")
    needed, wrong = parted(refused.value.problems, document)  # type: ignore[attr-defined]
    assert not wrong
    assert missing == {name for name in names_of(needed) if name.count("-") == 2}


def test_a_stage_that_says_too_much_is_wrong(example: dict[str, Any]) -> None:
    """Two ways to give one latency are no gap."""
    document = {**example, "stages": [{**example["stages"][0], "latency_us": 1, "length_m": 3}, *example["stages"][1:]]}
    with pytest.raises(Exception, match=r"does not belong|both give") as refused:
        network_of(document, "")
    assert not parted(refused.value.problems, document)[0]  # type: ignore[attr-defined]
