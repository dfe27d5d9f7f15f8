"""A real scheduler and real workers on loopback: the same answers, whoever is killed; and words where something is away."""

import json
import re
import shutil
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from sfn.errors import PlanError
from sfn.field.raster import LevelRaster
from sfn.field.rasters import CacheFolder, level_rasters
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import Grid, grid_for
from sfn.propagation.link import SweepCancelled
from sfn.study.recordings import Chosen, measured
from sfn.terrain.dem import heights
from sfn.terrain.ground import Ground
from sfn.terrain.ridge import ridge
from sfn.work.table import run
from tests.webapp.conftest import token_in
from tests.webapp.small_cluster import SmallCluster, distributed_or_left_out, free_port, small_cluster, until
from webapp.config.workers_setting import WorkersSetting, workers_setting
from webapp.work.job_desk import JobDesk
from webapp.work.measurements import recording_work
from webapp.work.progress import Progress
from webapp.work.workers import JobWorkers, Workers

distributed_or_left_out()
RIDGE = Ground(terrain=ridge())
GRID = grid_for((36.17, -84.41, 36.44, -84.08), pixel_m=60.0)
AT = ((36.22, -84.35), (36.31, -84.21), (36.4, -84.13))


def never() -> bool:
    """Nobody has cancelled."""
    return False


def sites() -> list[Transmitter]:
    """Three sites in the ridge country."""
    lat, lon = zip(*AT, strict=True)
    ground_m = heights(RIDGE.terrain, lat, lon) if RIDGE.terrain else ()
    return [
        Transmitter(f"s{n}", lat[n], lon[n], float(h), 60.0, 10.0, 0.0, 97.0, 45.0, 325.0)
        for n, h in enumerate(ground_m)
    ]


def levels(cache: CacheFolder | None = None, grid: Grid = GRID, **more: Any) -> dict[int, LevelRaster]:
    """Rasters of all sites: of this process, or of whoever the cache has."""
    with ThreadPoolExecutor(2) as executor:
        return dict(
            level_rasters(sites(), grid, ground=RIDGE, rx_height_m=10.0, executor=executor, cache=cache, **more)
        )


def same(made: dict[int, LevelRaster], expected: dict[int, LevelRaster]) -> bool:
    """Whether all rasters are alike, bit for bit."""
    return made.keys() == expected.keys() and all(
        made[n].arrays()[name].tobytes() == one.tobytes()
        for n in expected
        for name, one in expected[n].arrays().items()
    )


@pytest.fixture(scope="module")
def here() -> dict[int, LevelRaster]:
    """What this process computes."""
    return levels()


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder."""
    made = tmp_path / "data"
    (made / "terrain").mkdir(parents=True)
    return made


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SmallCluster]:
    """A scheduler and two workers that nobody kills."""
    with small_cluster(tmp_path_factory.mktemp("cluster")) as made:
        yield made


@pytest.fixture
def workers_at(data: Path) -> Iterator[Callable[..., Workers]]:
    """Connections, ended afterwards."""
    made = []

    def connect(address: str, *, workers_n: int = 2, **more: Any) -> Workers:
        made.append(Workers(WorkersSetting(address), data, **more))
        until(lambda: made[-1].seen.workers_n >= workers_n, "workers at the scheduler")
        return made[-1]

    yield connect
    for one in made:
        one.close()


def kept(
    data: Path, workers: Workers, cancelled: Callable[[], bool] = never, **more: Any
) -> tuple[CacheFolder, JobWorkers]:
    """A folder of rasters that workers compute into."""
    far = JobWorkers(workers, cancelled=cancelled, **more)
    return CacheFolder(data / "rasters", 10**9, far), far


def test_levels_are_those_of_one_process_bit_for_bit(
    cluster: SmallCluster, data: Path, workers_at: Callable[..., Workers], here: dict[int, LevelRaster],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Whole sites, and each site in parts; what is left in the folder is the rasters, and nobody's desk."""
    workers = workers_at(cluster.address)
    cache, far = kept(data, workers)
    assert far.parts_n(sites_n=3, pixels_n=GRID.pixels_n) == 2
    told: list[tuple[str, int, int]] = []
    assert same(levels(cache, progress=lambda *one: told.append(one)), here)
    assert {one[0] for one in told if one[1] == one[2]} == {"s0", "s1", "s2"}
    assert {1} != {one[1] for one in told}, "parts are told as they are there"
    assert len(list((data / "rasters").iterdir())) == 3
    assert list((data / "work").iterdir()) == []
    before = {path.name: path.stat().st_mtime_ns for path in (data / "rasters").iterdir()}
    assert same(levels(cache), here), "found in the folder"
    assert before.keys() == {path.name for path in (data / "rasters").iterdir()}


def test_a_worker_that_is_killed_costs_a_second_beginning(
    tmp_path: Path, data: Path, workers_at: Callable[..., Workers]
) -> None:
    """SIGKILL in the midst of its part: the same levels, and it is said."""
    grid = grid_for((36.17, -84.41, 36.44, -84.08), pixel_m=35.0)
    (tmp_path / "own").mkdir()
    with small_cluster(tmp_path / "own") as cluster:
        workers = workers_at(cluster.address)
        cache, far = kept(data, workers)

        def begun() -> list[str]:
            return [path.read_text(encoding="utf-8") for path in (data / "work").glob("*/*.begun.*")]

        def kill_who_works() -> None:
            victim = cluster.workers[0]  # at its first part, which takes longer than the next look
            until(lambda: any(f"process {victim.pid}" in one for one in begun()), "the one that will be killed")
            cluster.kill(victim)

        killer = threading.Thread(target=kill_who_works)
        killer.start()
        made = levels(cache, grid)
        killer.join(150)
        assert cluster.workers[0].poll() is not None
        assert "begun again after a worker was lost" in far.note
    assert same(made, levels(grid=grid))


def test_a_scheduler_that_is_away_is_waited_for_in_words(
    tmp_path: Path, data: Path, here: dict[int, LevelRaster]
) -> None:
    """Nobody waits who only looks; a job says what it waits for, goes on once there is one, and is refused in the end."""
    port, said = free_port(), list[str]()
    workers = Workers(WorkersSetting(f"tcp://127.0.0.1:{port}"), data, patience_s=1.0)
    try:
        began = time.monotonic()
        assert not workers.seen.there
        assert time.monotonic() - began < 0.1
        cache, _ = kept(data, workers, say=said.append)
        with pytest.raises(PlanError) as refused:
            levels(cache)
        (problem,) = refused.value.problems
        assert problem.code == "workers-away"
        assert f"tcp://127.0.0.1:{port} does not answer" in problem.what
        assert "SFN_DELAYS_DASK" in problem.expected
        assert said
        assert all("waiting: the scheduler" in one for one in said)
        assert "Traceback" not in f"{problem}{said}"
        workers.patience_s = 60.0
        cluster = SmallCluster(tmp_path, port=port)
        try:
            cluster.start_scheduler()
            cluster.start_worker()
            assert same(levels(cache), here)
            assert any("has no worker" in one for one in said) or workers.seen.workers_n == 1
        finally:
            cluster.close()
        until(lambda: not workers.seen.there, "that it is gone is seen")
    finally:
        workers.close()


def test_a_worker_without_the_folder_says_which_and_what_to_set(
    tmp_path: Path, data: Path, workers_at: Callable[..., Workers]
) -> None:
    """Another disk, and one on which another service has its own folder."""
    (tmp_path / "own").mkdir()
    elsewhere = tmp_path / "another disk"
    with small_cluster(tmp_path / "own", workers_n=1, SFN_DELAYS_DATA=str(elsewhere)) as cluster:
        workers = workers_at(cluster.address, workers_n=1)
        cache, _ = kept(data, workers)
        with pytest.raises(PlanError) as refused:
            levels(cache)
        (problem,) = refused.value.problems
        assert problem.code == "storage-not-shared"
        assert f"process {cluster.workers[0].pid} does not see the data folder" in problem.what
        assert str(elsewhere) in problem.what
        assert "SFN_DELAYS_DATA of the worker set to where it is mounted" in problem.expected
        assert not elsewhere.exists(), "a worker makes no folder of its own"


def test_cancelling_is_heard_by_workers(cluster: SmallCluster, data: Path, workers_at: Callable[..., Workers]) -> None:
    """Soon, and whoever works at it stops: the cluster is free for the next."""
    workers, wish = workers_at(cluster.address), threading.Event()
    cache, _ = kept(data, workers, wish.is_set)
    threading.Timer(0.6, wish.set).start()
    began = time.monotonic()
    with pytest.raises(SweepCancelled):
        levels(cache, grid_for((36.17, -84.41, 36.44, -84.08), pixel_m=16.0), cancelled=wish.is_set)
    assert time.monotonic() - began < 20.0  # beside other tests; of 100 s that it would take
    assert list((data / "work").iterdir()) == []
    until(lambda: not any(workers._client.processing().values()), "nobody works", within_s=60.0)


def test_only_the_table_is_run(data: Path) -> None:
    """Whatever is asked by name; nothing is looked up elsewhere."""
    desk = JobDesk(data)
    done = run("os.system", "true", desk.order(0))
    assert [one.code for one in done.problems] == ["work-unknown"]
    other = run("rasters", None, type(desk.order(0))(str(data), desk.name, "0", "not the mark"))
    assert [one.code for one in other.problems] == ["storage-not-shared"]
    older = run("rasters", None, type(desk.order(0))(str(data), desk.name, "0", "x", "0.0.1"))
    assert [one.code for one in older.problems] == ["worker-version"]


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        ("", None), ("local:3", WorkersSetting(local_n=3)), ("tcp://10.0.0.5:8786", WorkersSetting("tcp://10.0.0.5:8786")),
        ("tls://[fd00::5]:8786", WorkersSetting("tls://[fd00::5]:8786")),
    ],
)  # fmt: skip
def test_what_may_be_set(given: str, wanted: WorkersSetting | None) -> None:
    """A scheduler's address, or so many workers of our own."""
    assert workers_setting({"SFN_DELAYS_DASK": given}) == wanted


@pytest.mark.parametrize(
    "given",
    ["local", "local:0", "10.0.0.5:8786", "http://a:1", "tcp://a", "tcp://a:x", "tcp://u:pw@a:1", "tcp://a:1/b"],
)
def test_what_may_not_be_set_is_refused_without_being_told(given: str) -> None:
    """An address may have been typed with a password."""
    with pytest.raises(PlanError) as refused:
        workers_setting({"SFN_DELAYS_DASK": given})
    assert refused.value.problems[0].code == "setting-unusable"
    assert "pw" not in str(refused.value)


def test_the_application_searches_and_draws_with_them(
    cluster: SmallCluster, client_with: Callable[..., TestClient], tmp_path: Path
) -> None:
    """A map and searches of the demo: computed by workers, kept, and the same as this process answers alone."""
    (tmp_path / "terrain").mkdir()
    client = client_with(workers=WorkersSetting(cluster.address))
    maps = client.app.state.maps  # type: ignore[attr-defined]
    until(lambda: maps.workers.seen.workers_n == 2, "workers at the scheduler")
    assert client.get("/readyz").json() == {
        "status": "ready", "workers": {"scheduler": True, "workers": 2, "threads": 2}
    }  # fmt: skip
    assert b"sfn_delays_workers 2.0" in client.app.state.measured.text()[0]  # type: ignore[attr-defined]
    client.post("/networks/demo/fm_ridge", data={"csrf_token": token_in(client.get("/").text)})
    typed = {
        "count": "people", "move_from": "saved", "seed": "1", "budget_s": "600", "most_us": "3",
        **{f"hold-{site}": "1" for site in ("summit", "north")},
    }  # fmt: skip
    answers = []
    for at in (client, client_with()):
        sent = at.post(
            "/networks/1/offsets/find", data={"csrf_token": token_in(at.get("/").text), **typed}, follow_redirects=False
        )
        assert sent.status_code == 303, sent.text
        job = at.app.state.jobs.find(sent.headers["location"].partition("found=")[2])  # type: ignore[attr-defined]
        assert job.far == (at is client)
        assert job.ended.wait(400)
        assert job.state == "finished", job.problems
        answers.append(json.loads(json.dumps(job.result.answer | {"seconds": "how long it took"})))
    assert answers[0] == answers[1]
    assert answers[0]["offsets"]


def test_a_search_that_is_stopped_answers_with_its_best(
    cluster: SmallCluster, client_with: Callable[..., TestClient], tmp_path: Path
) -> None:
    """What a worker has found by then; how far it is is told meanwhile, and its answer outlives the process."""
    (tmp_path / "terrain").mkdir()
    client = client_with(workers=WorkersSetting(cluster.address))
    until(lambda: client.app.state.maps.workers.seen.workers_n == 2, "workers")  # type: ignore[attr-defined]
    token = token_in(client.get("/").text)
    client.post("/networks/demo/fm_ridge", data={"csrf_token": token})
    typed = {"count": "people", "seed": "1", "budget_s": "3000", "vary-offset": "1", "vary-power": "1", "worlds": "0"}
    costs = {f"cost-{what}": "1" for what in ("delay", "setting", "power", "rigging", "licence", "on-off")}
    form = client.get("/networks/1/plans").text
    shown = dict(re.findall(r'name="(cost-[a-z-]+)"[^>]* value="([^"]*)"', form))
    sent = client.post(
        "/networks/1/plans/find", data={"csrf_token": token, **costs, **shown, **typed}, follow_redirects=False
    )
    assert sent.status_code == 303, re.findall(r"<li[^>]*>.*?</li>", sent.text)
    job = client.app.state.jobs.find(sent.headers["location"].partition("found=")[2])  # type: ignore[attr-defined]
    until(lambda: "without service so far" in job.view().phase, "told by the worker", within_s=180.0)
    client.post(f"/jobs/{job.id}/cancel", data={"csrf_token": token})
    assert job.ended.wait(180)
    assert job.state == "finished", job.problems
    assert job.result.answer["plans"] is not None
    assert job.result.answer["ended"] == "cancelled"


def test_a_recording_is_measured_by_a_worker(
    cluster: SmallCluster, data: Path, workers_at: Callable[..., Workers]
) -> None:
    """The same record as here, and nothing but its file passes; one that cannot be read is refused in words."""
    noise = np.random.default_rng(7).standard_normal(96_000) * 0.1
    path = data / "recordings" / "a" / "0" / "both.wav"
    path.parent.mkdir(parents=True)
    soundfile.write(path, np.column_stack([noise[100:], noise[:-100]]), 48_000, subtype="FLOAT")
    workers = workers_at(cluster.address)
    form = {"search_us": "50000", "alone": "1"}
    (data / "other").mkdir()
    shutil.copy(path, data / "other" / "both.wav")
    expected = measured([data / "other" / "both.wav"], chosen=Chosen(), search_us=50_000.0, alone=True)
    found = recording_work([path], form, workers)(Progress())
    assert repr(found) == repr(expected)
    assert abs(found.found.delay_us - 100 / 48_000 * 1e6) < 0.1
    assert not path.exists(), "removed as it always was"
    (data / "recordings" / "b" / "0").mkdir(parents=True)
    broken = data / "recordings" / "b" / "0" / "broken.wav"
    broken.write_bytes(b"RIFF nothing")
    with pytest.raises(PlanError, match=r"broken\.wav"):
        recording_work([broken], form, workers)(Progress())


def let_in(port: int) -> bool:
    """Whether whoever speaks TLS, but has no certificate, is greeted there."""
    anyone = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    anyone.check_hostname, anyone.verify_mode = False, ssl.CERT_NONE
    with socket.create_connection(("127.0.0.1", port), timeout=5) as stranger:
        try:
            with anyone.wrap_socket(stranger) as over_tls:
                return over_tls.recv(1) != b""  # a scheduler speaks first
        except (ssl.SSLError, ConnectionError):
            return False


def test_workers_of_this_machine_need_nothing_else(data: Path, here: dict[int, LevelRaster]) -> None:
    """`local:1` begins one, with its part of the memory, and ends it."""
    import psutil  # comes with distributed

    workers = Workers(WorkersSetting(local_n=1), data)
    try:
        until(lambda: workers.seen.workers_n == 1, "a worker of our own")
        held = next(iter(workers._client.scheduler_info(n_workers=-1)["workers"].values()))
        assert 0 < held["memory_limit"] < 0.75 * psutil.virtual_memory().total
        assert held["host"] == "127.0.0.1"
        cache, _ = kept(data, workers)
        assert same(levels(cache), here)
        address = workers._cluster.scheduler_address
        assert address.startswith("tls://127.0.0.1:")
        assert not let_in(int(address.rpartition(":")[2])), "only who has the certificate of this process"
    finally:
        workers.close()
    assert not [one for one in psutil.Process().children() if "multiprocessing.spawn" in " ".join(one.cmdline())]
