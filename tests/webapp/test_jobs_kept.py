"""What was asked for and what ended outlives the process: the same answer, or that it was stopped, and a button."""

import json
import signal
import sqlite3
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest

from sfn.errors import PlanError, Problem
from tests.webapp.conftest import token_in
from tests.webapp.test_service import started
from webapp.store.job_records import KEPT_DAYS
from webapp.store.store import Store
from webapp.work.jobs import Function, Job, Jobs

SUM = Function(plain=lambda found: {"sum": found}, revived=lambda kept: kept["sum"])
ASKED = {"network": 1, "typed": {"seed": "7"}}
WANTED = {"Accept": "application/json"}


@contextmanager
def life(url: str, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> Iterator[tuple[Store, Jobs]]:
    """One life of a process with its jobs."""
    with closing(Store(url, clock=clock)) as store, ThreadPoolExecutor(2) as threads:
        yield store, Jobs(threads, capacity=9, records=store.jobs, functions={"sum": SUM})


def begin(jobs: Jobs, work: Any, key: str = "a", function: str = "sum") -> Job:
    """A job of ours."""
    return jobs.start(
        work, title="A sum", key=key, result_url=lambda made: f"/sums/{made}", function=function, asked=ASKED
    )


def noted(store: Store, job: Job) -> None:
    """Wait until the database has how it ended."""
    assert job.ended.wait(10)
    ends = time.monotonic() + 10
    while (found := store.jobs.find(job.id)) is not None and found.state == "open" and time.monotonic() < ends:
        time.sleep(0.01)


def test_an_answer_is_found_in_the_next_life(database: str) -> None:
    """With its address and title; one whose answer is no plain data says that it is gone, a refused one why."""

    def refuse(_progress: object) -> None:
        raise PlanError([Problem("x", "is too large", "less", code="too-large")])

    with life(database) as (store, jobs):
        made = begin(jobs, lambda _: 41 + 1)
        other = begin(jobs, lambda _: object(), key="b", function="")
        refused = begin(jobs, refuse, key="c")
        for one in (made, other, refused):
            noted(store, one)
    with life(database) as (_, jobs):
        found = jobs.find(made.id)
        assert found is not None
        assert (found.result, found.state, found.title) == (42, "finished", "A sum")
        assert found.view().result_url == f"/sums/{made.id}"
        gone, told = jobs.find(other.id), jobs.find(refused.id)
        assert gone is not None
        assert told is not None
        assert [one.code for one in gone.problems] == ["job-answer-gone"]
        assert [(one.code, one.what) for one in told.problems] == [("too-large", "is too large")]
        assert not told.view().again
        assert jobs.find("no-such-job") is None


def test_what_the_service_ended_is_named_and_was_cancelled_by_nobody(database: str) -> None:
    """Running or waiting, at a stop in good order; what somebody cancelled stays cancelled."""

    def until_told(progress: Any) -> None:
        for n in range(10_000):
            progress.tell("adding", done=n, total=10_000)
            time.sleep(0.005)

    with life(database) as (store, jobs):
        running = [begin(jobs, until_told, key=f"{n}") for n in range(3)]
        running[0].progress.cancel()
        noted(store, running[0])
        assert jobs.cancel_all() == 2
    with life(database) as (_, jobs):
        for one in running[1:]:
            found = jobs.find(one.id)
            assert found is not None
            assert [problem.code for problem in found.problems] == ["job-stopped"]
            assert found.view().again
            assert found.asked == ASKED
        found = jobs.find(running[0].id)
        assert found is not None
        assert (found.state, found.view().again) == ("cancelled", False)


def test_the_oldest_go(database: str) -> None:
    """After so many days, when something is asked for."""
    now = datetime.now(UTC)
    with life(database, lambda: now - timedelta(days=KEPT_DAYS, hours=1)) as (store, jobs):
        noted(store, old := begin(jobs, lambda _: 1))
    with life(database, lambda: now - timedelta(days=KEPT_DAYS - 1)) as (store, jobs):
        noted(store, kept := begin(jobs, lambda _: 2))
    with life(database, lambda: now) as (store, jobs):
        noted(store, begin(jobs, lambda _: 3))
        assert store.jobs.find(old.id) is None
        assert store.jobs.find(kept.id) is not None


@pytest.mark.parametrize(
    "turned",
    ["answer = '{\"sum\": 43}'", "result_url = '/sums/x'", "state = 'open'", "body = replace(body, '7', '8')"],
)
def test_a_damaged_answer_is_told_and_worked_out_again(tmp_path: Path, turned: str) -> None:
    """Nothing of the row is believed; whoever asks for the same gets it computed."""
    url, file = f"sqlite:///{tmp_path / 'kept.sqlite'}", tmp_path / "kept.sqlite"
    with life(url) as (store, jobs):
        noted(store, made := begin(jobs, lambda _: 42))
    with closing(sqlite3.connect(file)) as behind:
        assert behind.execute(f"update jobs set {turned}").rowcount == 1
        behind.commit()
    with life(url) as (store, jobs):
        found = jobs.find(made.id)
        assert found is not None
        assert (found.state, found.result) == ("failed", None)
        assert [one.code for one in found.problems] == ["store-damaged"]
        assert not found.view().again
        assert [one for one in store.lesser_damaged() if one.startswith(f"jobs, {made.id}")]
        again = begin(jobs, lambda _: 42)
        noted(store, again)
        assert (again.id != made.id, again.result) == (True, 42)


def test_it_does_not_matter_that_the_database_is_away(tmp_path: Path) -> None:
    """A computation is only not kept."""
    with life(f"sqlite:///{tmp_path / 'kept.sqlite'}") as (store, jobs):
        with store.writing() as connection:
            connection.exec_driver_sql("alter table jobs rename to elsewhere")
        made = begin(jobs, lambda _: 42)
        assert made.ended.wait(10)
        assert (made.state, made.result) == ("finished", 42)


def test_searches_survive_a_process_that_is_killed(tmp_path: Path) -> None:
    """Kill -9 while one search runs and another has ended: the same answer, and one that is started again by a button."""
    data = tmp_path / "data"
    typed = {"budget_s": "2", "seed": "3", "most_us": "30"}
    with started(data, tmp_path / "log") as (process, address), httpx.Client(base_url=address, timeout=120) as client:
        token = token_in(client.get("/").text)
        assert client.post("/networks/demo/fm_ridge", data={"csrf_token": token}).status_code == 303
        first = search(client, token, typed)
        ended = following(client, first, {"waiting", "running"})
        assert ended["state"] == "finished", ended
        answer = client.get(f"/api/pages{ended['result_url']}").json()["answer"]
        second = search(client, token, {**typed, "budget_s": "3600", "most_us": "2000"})
        assert following(client, second, {"waiting"})["state"] == "running"
        process.send_signal(signal.SIGKILL)
        process.wait(30)
    with started(data, tmp_path / "log2") as (_, address), httpx.Client(base_url=address, timeout=120) as client:
        token = token_in(client.get("/").text)
        after = client.get(first, headers=WANTED).json()
        assert (after["state"], after["result_url"]) == ("finished", ended["result_url"])
        kept = client.get(f"/api/pages{ended['result_url']}").json()
        assert json.dumps(kept["answer"], sort_keys=True) == json.dumps(answer, sort_keys=True)
        assert kept["typed"]["most_us"] == "30"
        assert client.get(ended["result_url"]).status_code == 200
        stopped = client.get(second, headers=WANTED).json()
        assert [one["code"] for one in stopped["problems"]] == ["job-stopped"]
        page = client.get(second).text
        assert "Start it again" in page
        assert 'value="2000"' in client.get(f"/networks/1/offsets?found={second.rpartition('/')[2]}").text
        again = client.post(stopped["again_url"], data={"csrf_token": token}, headers=WANTED).json()
        assert again["id"] != stopped["id"]
        assert following(client, again["url"], {"waiting"})["state"] == "running"
        assert client.post(again["cancel_url"], data={"csrf_token": token}).status_code == 303
        refused = client.post(f"{first}/again", data={"csrf_token": token}, headers=WANTED)
        assert (refused.status_code, refused.json()["problems"][0]["code"]) == (422, "job-not-again")


def test_a_road_is_computed_again_after_a_process_that_is_killed(tmp_path: Path) -> None:
    """Kill -9 after it had ended: its page says so, one button computes the same line, tries and all."""
    data, line = tmp_path / "data", "36.28, -84.30\n36.33, -84.20"
    with started(data, tmp_path / "log") as (process, address), httpx.Client(base_url=address, timeout=120) as client:
        token = token_in(client.get("/").text)
        assert client.post("/networks/demo/fm_ridge", data={"csrf_token": token}).status_code == 303
        site = client.get("/api/networks/1").json()["document"]["sites"][0]["id"]
        sent = {"csrf_token": token, "line": line, "spacing_m": "250", "rx_height_m": "4"}
        where = road_of(client, client.post(f"/networks/1/road/upload?offset={site}:3", data=sent))
        before = rows_of(client, where)
        process.send_signal(signal.SIGKILL)
        process.wait(30)
    with started(data, tmp_path / "log2") as (_, address), httpx.Client(base_url=address, timeout=120) as client:
        token = token_in(client.get("/").text)
        shown = client.get(where)
        assert shown.status_code == 303
        job = shown.headers["location"]
        told = client.get(job, headers=WANTED).json()
        assert [one["code"] for one in told["problems"]] == ["job-answer-gone"]
        page = client.get(job).text
        assert "It had ended" in page
        assert "Start it again" in page
        assert "what ended the service" not in page
        assert "sent again" not in page
        after = road_of(client, client.post(told["again_url"], data={"csrf_token": token}))
        assert after != where
        assert f"offset={site}" in after
        assert rows_of(client, after) == before
        assert len(before) > 10
        page = client.get(after).text
        assert 'value="250"' in page
        assert 'value="4"' in page


def road_of(client: httpx.Client, answer: httpx.Response) -> str:
    """Address of the road's page."""
    assert answer.status_code == 303, answer.text
    where = answer.headers["location"]
    return where if "/road?" in where else following(client, where, {"waiting", "running"})["result_url"]


def rows_of(client: httpx.Client, where: str) -> list[str]:
    """The road's table, without the lines that say when it was made."""
    job, _, query = where.partition("job=")[2].partition("&")
    answer = client.get(f"/networks/1/road/{job}/road.csv?{query}")
    assert answer.status_code == 200, answer.text
    return [line for line in answer.text.splitlines() if not line.startswith("#")]


def search(client: httpx.Client, token: str, typed: dict[str, str]) -> str:
    """Start a search; gives its job's address."""
    answer = client.post("/networks/1/offsets/find", data={"csrf_token": token, **typed})
    assert answer.status_code == 303, answer.text
    return f"/jobs/{answer.headers['location'].partition('found=')[2]}"


def following(client: httpx.Client, job: str, states: set[str]) -> dict[str, Any]:
    """The job once it is in none of some states any more."""
    ends = time.monotonic() + 180
    while (found := client.get(job, headers=WANTED).json())["state"] in states and time.monotonic() < ends:
        time.sleep(0.1)
    return dict(found)
