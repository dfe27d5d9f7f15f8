"""Plans with a slip in them: every page answers in words, whatever stands in the document."""

import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.config.addresses import to

Document = dict[str, Any]


def position(index: int, text: str, crs: str = "EPSG:4326") -> Callable[[Document], None]:
    """Put a site somewhere else."""
    return lambda d: d["sites"][index].update(position={"text": text, "crs": crs})


def site(index: int, **changes: Any) -> Callable[[Document], None]:
    """Change keys of a site."""
    return lambda d: d["sites"][index].update(changes)


def network(**changes: Any) -> Callable[[Document], None]:
    """Change keys of the network."""
    return lambda d: d.update(changes)


SLIPS: dict[str, Callable[[Document], None]] = {
    "another continent": position(1, "52.8, 10.0"),
    "antipodes": position(1, "-36.37, 95.75"),
    "swapped": position(1, "-84.21, 36.205"),
    "pole": position(0, "90, 0"),
    "date line": position(0, "36.2, 180"),
    "same place": position(1, "36.37, -84.25"),
    "unreadable position": position(1, "over there"),
    "unknown datum": position(1, "36.2, -84.2", "EPSG:99999"),
    "nothing radiated": site(0, erp_kw={"h": 0, "v": 0}),
    "all off air": lambda d: [s.update(on_air=False) for s in d["sites"]] and None,
    "unknown service": network(service="nothing known"),
    "another service": network(service="dvb-t2-32k-19/128-pp2-8mhz", frequency_mhz=626),
    "odd frequency": network(frequency_mhz=0.2),
    "below ground": site(1, ground_m=-400),
    "no delay field": site(1, delay_fields=[]),
    "one site": lambda d: d.update(sites=d["sites"][:1]),
    "fixed far too short": network(common_delay={"mode": "fixed", "value_us": 0}),
    "long names": site(0, name="N" * 120),
    "strange short name": site(0, id="a.b_c-d"),
    "huge offset": site(1, offset_us=59_000_000),
    "tiny step": lambda d: d["sites"][1]["delay_fields"][1].update(step=1e-6),
    "present value unknown": lambda d: d["sites"][0]["delay_fields"][0].update(set=None),
    "sign unknown": lambda d: d["sites"][1]["delay_fields"][0].update(sign="unknown", set=3),
    "unit unknown": lambda d: d["sites"][0]["delay_fields"][0].update(unit="unknown"),
    "unreadable parent": position(0, "over there"),
    "missing terrain": network(terrain={"source": "files", "folder": "/nowhere/at/all"}),
}
# Delays and sheets of the other sites are there all the same.
LEAVE_THE_REST = ("unreadable position", "unreadable parent", "unit unknown", "sign unknown", "present value unknown")


@pytest.mark.parametrize("slip", SLIPS)
def test_every_page_answers_in_words(client: TestClient, post: Any, example: Document, slip: str) -> None:
    """No page of a plan with a slip is a fault: it shows what it can, or says what keeps it from it."""
    document = deepcopy(example)
    SLIPS[slip](document)
    answer = post("/networks/import", files={"file": ("odd.json", json.dumps(document))}, author="Ada")
    if answer.status_code == 422:
        assert "odd.json: " in answer.text
        return
    assert 303 == answer.status_code
    name = document["sites"][0]["id"]
    # The map is left out: opening it starts a computation, which tells of its problems itself.
    pages = [
        to("network.show", 1),
        to("delays.show", 1),
        to("sheets.show_all", 1),
        to("point.show", 1, at="36.28,-84.2"),
    ]
    pages += [to("delays.as_csv", 1), to("delays.as_xlsx", 1), to("clocks.show", 1), to("change.show", 1)]
    pages += [to("readings.show", 1), to("ages.show", 1), to("off_air.show", 1)]
    pages += [to("site.show", 1, name), to("chain.show", 1, name), to("sheets.show", 1, name), "/api/networks/1/check"]
    for page in pages:
        status = client.get(page).status_code
        assert status in (200, 303, 422), (slip, page, status)
    for page in (
        to("network.show", 1),
        *((to("delays.show", 1), to("sheets.show_all", 1)) if slip in LEAVE_THE_REST else ()),
    ):
        assert 200 == client.get(page).status_code, page
