"""A map while it is being computed: every site's progress, a picture of what is ready, and what a stop leaves."""

import io
import json
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from sfn.plan import read
from webapp.front.jobs import as_json
from webapp.store.store import Store
from webapp.work.jobs import CancelledError, Progress
from webapp.work.maps import Maps

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"
BOUNDS = (36.20, -84.36, 36.40, -84.12)


@pytest.fixture
def number(store: Store) -> int:
    """The ridge network in the store."""
    return store.create(json.loads(RIDGE.read_text()), author="test", reason="test").network_id


def test_what_is_ready_is_shown_and_kept_after_a_stop(client: TestClient, number: int) -> None:
    """With one site ready there is a picture of it over the right area; after a stop, it is not computed again."""
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    network = read(RIDGE.read_text())
    wanted = maps.wanted(network, bounds=BOUNDS, pixel_m=400.0, most=100_000)
    progress, held, go_on, ended = Progress(), threading.Event(), threading.Event(), []
    plain = maps._so_far

    def work() -> None:
        """The job."""
        try:
            maps.computed(network, wanted, progress)
        except CancelledError:
            ended.append("cancelled")

    class Watching(dict[str, Any]):
        """Where what is ready lies: says when it is there."""

        def __setitem__(self, key: str, value: Any) -> None:
            add = value.add

            def added(site: str, raster: Any) -> None:
                add(site, raster)
                held.set()
                go_on.wait(30)

            value.add = added
            super().__setitem__(key, value)

    maps._so_far = Watching(plain)
    thread = threading.Thread(target=work)
    thread.start()
    assert held.wait(60)
    part = f"/networks/{number}/map/{wanted.key}"
    told = client.get(f"{part}/so-far.json").json()
    picture = np.asarray(Image.open(io.BytesIO(client.get(f"{part}/so-far.png").content)))
    legend = client.get(f"{part}/so-far.svg").text
    progress.cancel()
    go_on.set()
    thread.join(60)

    assert 1 == len(told["sites"])
    assert wanted.grid.shape == picture.shape[:2]
    assert (picture[..., 3] > 0).mean() > 0.9
    assert "Level of the strongest so far" in legend
    assert ["cancelled"] == ended
    assert [] == client.get(f"{part}/so-far.json").json()["sites"]
    assert 1 <= len(list((maps.rasters.folder).glob("*.raster"))) < len(network.sites)


def test_every_site_has_its_own_progress(client: TestClient, number: int) -> None:
    """Parts bear the sites' names, in the document's order, and all end ready; scripts and people see them."""
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    network = read(RIDGE.read_text())
    progress = Progress()
    maps.computed(network, maps.wanted(network, bounds=BOUNDS, pixel_m=500.0, most=100_000), progress)
    phase, done, total, parts = progress.told()

    assert [site.name for site in network.sites] == [part.name for part in parts]
    assert {(1000, 1000)} == {(part.done, part.total) for part in parts}
    assert ("4 of 4 sites", 4000, 4000) == (phase, done, total)
    jobs = client.app.state.jobs  # type: ignore[attr-defined]
    job = jobs.start(
        lambda p: p.tell("1 of 2 sites", done=1000, total=2000, parts=parts[:2]),
        title="Levels",
        key="k",
        result_url="/",
    )
    assert job.ended.wait(10)
    assert [{"name": p.name, "done": 1000, "total": 1000} for p in parts[:2]] == as_json(job.view())["parts"]


def test_nothing_is_shown_of_what_nobody_computes(client: TestClient, number: int) -> None:
    """Without a computation there is nothing so far."""
    assert [] == client.get(f"/networks/{number}/map/nothing/so-far.json").json()["sites"]
    for name in ("so-far.png", "so-far.svg"):
        assert 404 == client.get(f"/networks/{number}/map/nothing/{name}").status_code
