"""Long computations: progress that is true, cancelling, bounds."""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from functools import partial
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.errors import PlanError, Problem
from webapp.store.audit import ACTING, Acting
from webapp.work.jobs import Job, Jobs, Progress

JSON = {"accept": "application/json"}


@pytest.fixture
def jobs() -> Iterator[Jobs]:
    """Two threads, at most three jobs at a time."""
    with ThreadPoolExecutor(2) as executor:
        yield Jobs(executor, capacity=3, remembered=4)


def test_progress_and_result(jobs: Jobs) -> None:
    """What the work tells is what is seen, while it runs and after."""
    told, go_on = threading.Event(), threading.Event()

    def work(progress: Progress) -> str:
        progress.tell("site North", done=1, total=3)
        told.set()
        go_on.wait(5)
        progress.tell("site South", done=3, total=3)
        return "the map"

    job = jobs.start(work, title="Map", key="a", result_url="/there")
    assert told.wait(5)
    view = job.view()
    assert ("running", "site North", 1, 3, None) == (view.state, view.phase, view.done, view.total, view.result_url)
    go_on.set()
    assert job.ended.wait(5)
    view = job.view()
    assert ("finished", "site South", 3, "/there") == (view.state, view.phase, view.done, view.result_url)
    assert "the map" == job.result


def test_cancelling_stops_at_the_next_step(jobs: Jobs) -> None:
    """Work ends at its next `tell`; what waits for its turn never begins."""
    steps: list[int] = []
    began, go_on = threading.Event(), threading.Event()

    def work(progress: Progress) -> None:
        for i in range(100):
            progress.tell("step", done=i, total=100)
            steps.append(i)
            began.set()
            go_on.wait(5)

    first, second = (jobs.start(work, title="Map", key=key) for key in "ab")
    waiting = jobs.start(lambda _progress: steps.append(-1), title="Map", key="c")
    assert began.wait(5)
    for job in (waiting, first, second):
        job.progress.cancel()
    go_on.set()
    for job in (first, second, waiting):
        assert job.ended.wait(5)
        assert "cancelled" == job.state
    assert -1 not in steps
    assert len(steps) <= 2


def test_equal_work_is_done_once(jobs: Jobs) -> None:
    """A second request for the same thing gets the same job, also after it ended."""
    first = jobs.start(lambda _progress: 1, title="Map", key="same")
    assert first.ended.wait(5)
    assert first is jobs.start(lambda _progress: 2, title="Map", key="same")
    assert 1 == first.result


def test_cancelled_work_can_be_started_again(jobs: Jobs) -> None:
    """A cancelled job is not handed out again."""
    hold = threading.Event()
    first = jobs.start(lambda _progress: hold.wait(5), title="Map", key="same")
    first.progress.cancel()
    again = jobs.start(lambda _progress: 2, title="Map", key="same")
    hold.set()
    assert first is not again
    assert again.ended.wait(5)
    assert 2 == again.result


def test_their_number_is_bounded(jobs: Jobs) -> None:
    """One too many is refused with the number that would do; ended ones are forgotten, oldest first."""
    hold = threading.Event()
    running = [jobs.start(lambda _progress: hold.wait(5), title="Map", key=str(n)) for n in range(3)]
    with pytest.raises(PlanError) as caught:
        jobs.start(lambda _progress: None, title="Map", key="one too many")
    assert "fewer than 3" in caught.value.problems[0].expected
    hold.set()
    for job in running:
        assert job.ended.wait(5)
    for n in range(10):
        assert jobs.start(lambda _progress: None, title="Map", key=f"later {n}").ended.wait(5)
    assert jobs.find(running[0].id) is None


def test_failures_keep_their_words_and_hide_their_faults(jobs: Jobs) -> None:
    """A refusal shows its problems; a fault shows that there was one, and its text goes to the log only."""

    def refuse(_progress: Progress) -> None:
        raise PlanError([Problem("sites[0]", "stands in the sea", "land", code="in-the-sea")])

    def fault(_progress: Progress) -> None:
        raise RuntimeError("secret detail")

    refused, faulty = jobs.start(refuse, title="Map", key="r"), jobs.start(fault, title="Map", key="f")
    assert refused.ended.wait(5)
    assert faulty.ended.wait(5)
    assert "stands in the sea" == refused.view().problems[0].what
    assert "failed" == faulty.state
    assert "secret" not in str(faulty.view())


class Tickets(Executor):
    """An executor of which each ticket is taken when the test says so."""

    def __init__(self) -> None:
        self.taken: list[Callable[[], object]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Keep it."""
        self.taken.append(partial(fn, *args, **kwargs))
        return Future()


def asked_by(jobs: Jobs, who: str, key: str, work: Callable[[Progress], object], *, short: bool = False) -> Job:
    """A job that somebody known by name starts; a name that is empty is nobody's."""
    before = ACTING.set(Acting(who, "planner", "session", ""))
    try:
        return jobs.start(work, title="Map", key=key, short=short)
    finally:
        ACTING.reset(before)


def test_whoever_has_fewest_running_comes_next_and_short_ones_first() -> None:
    """While one of Ada's runs, Ben's goes before all that she asked for sooner; then hers, the short one first."""
    executor, order = Tickets(), list[str]()
    jobs = Jobs(executor, capacity=9)

    def done(name: str) -> Callable[[Progress], object]:
        return lambda _progress: order.append(name)

    def all_others(_progress: Progress) -> None:
        for ticket in executor.taken[1:]:
            ticket()

    asked_by(jobs, "Ada", "first", all_others, short=True)
    asked_by(jobs, "Ada", "long", done("Ada, long"))
    asked_by(jobs, "Ada", "short", done("Ada, short"), short=True)
    asked_by(jobs, "Ben", "late", done("Ben, long"))
    executor.taken[0]()
    assert order == ["Ben, long", "Ada, short", "Ada, long"]
    assert set(jobs.states()) == {"finished"}


def test_one_person_does_not_fill_the_queue() -> None:
    """A third of hers is refused, with her name and what would do; others go on, and so does she once one has ended."""
    executor = Tickets()
    jobs = Jobs(executor, capacity=5, quota=2)
    for key in "ab":
        asked_by(jobs, "Ada", key, lambda _progress: None)
    with pytest.raises(PlanError) as refused:
        asked_by(jobs, "Ada", "c", lambda _progress: None)
    (problem,) = refused.value.problems
    assert (problem.code, problem.what) == ("too-many-jobs", "2 computations of Ada are waiting or running")
    assert "fewer than 2: cancel one of yours" in problem.expected
    assert asked_by(jobs, "Ada", "a", lambda _progress: None).key == "a", "the same again is no more"
    executor.taken[0]()
    for who, key in (("Ada", "d"), ("", "e"), ("", "f"), ("", "g")):
        asked_by(jobs, who, key, lambda _progress: None)
    with pytest.raises(PlanError, match="5 computations are waiting"):
        asked_by(jobs, "Ben", "h", lambda _progress: None)


def test_page_and_json_of_a_job(client: TestClient) -> None:
    """People see a page that reloads itself, scripts JSON; cancelling works; a finished one leads to its result."""
    hold = threading.Event()
    jobs: Jobs = client.app.state.jobs  # type: ignore[attr-defined]

    def work(progress: Progress) -> None:
        progress.tell("site North", done=1, total=2)
        hold.wait(5)
        progress.tell("site South", done=2, total=2)

    job = jobs.start(work, title="Overlap map", key="m", result_url="/deleted")
    page = client.get(f"/jobs/{job.id}")
    assert "2" == page.headers["refresh"]
    assert "Overlap map" in page.text
    answer = client.get(f"/jobs/{job.id}", headers=JSON).json()
    assert "running" == answer["state"]
    token = page.text.partition('name="csrf_token" value="')[2].partition('"')[0]
    client.post(answer["cancel_url"], data={"csrf_token": token})
    hold.set()
    assert job.ended.wait(5)
    assert "cancelled" == client.get(f"/jobs/{job.id}", headers=JSON).json()["state"]
    done = jobs.start(lambda _progress: None, title="Overlap map", key="n", result_url="/deleted")
    assert done.ended.wait(5)
    assert "/deleted" == client.get(f"/jobs/{done.id}").url.path
    assert 404 == client.get("/jobs/unknown").status_code
