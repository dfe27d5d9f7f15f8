"""Numbers for whatever draws the service over time: asked with a token, or by whoever may look at the networks."""

import shutil
from collections.abc import Iterator
from typing import get_args

from fastapi import FastAPI
from fastapi.responses import Response
from starlette.requests import Request

from sfn.errors import Problem
from webapp.config.addresses import METRICS, Room
from webapp.config.settings import Settings
from webapp.shell.measured import Measured, counts
from webapp.shell.problems import RefusedError
from webapp.store.store import Store
from webapp.work.jobs import Jobs, State
from webapp.work.workers import Seen

router = Room("metrics")


@router.get(METRICS)
def show(request: Request) -> Response:
    """Requests, jobs, networks and the process, in Prometheus' text format."""
    measured: Measured = request.app.state.measured
    if not measured.there:
        expected = "pip install 'sfn-delays[metrics]'"
        raise RefusedError(
            404, Problem("metrics", "prometheus-client is not installed", expected, code="metrics-missing")
        )
    text, kind = measured.text()
    return Response(text, headers={"Content-Type": kind, "Cache-Control": "no-store"})


def looked_at(app: FastAPI) -> Iterator[tuple[str, str, dict[str, float] | float]]:
    """What is there now: jobs by state, networks, room on the disk."""
    jobs: Jobs = app.state.jobs
    store: Store = app.state.store
    settings: Settings = app.state.settings
    yield "jobs", "Computations that are remembered, by state.", counts(jobs.states(), get_args(State))
    yield "networks", "Networks that are not deleted.", float(store.networks_n())
    if (workers := app.state.maps.workers) is not None:
        seen: Seen = workers.seen
        yield "scheduler_there", "Whether the scheduler of the workers answers.", float(seen.there)
        yield "workers", "Workers at the scheduler.", float(seen.workers_n)
        yield "worker_threads", "Their threads.", float(seen.threads_n)
    yield "data_free_bytes", "Room where networks are kept.", float(shutil.disk_usage(settings.data_folder).free)
