"""For whatever watches the service: whether the process answers, and whether it can do its work. No name is needed."""

import logging
import os
import tempfile
from pathlib import Path

from fastapi.responses import JSONResponse, Response
from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import Problem
from webapp.config.addresses import HEALTH, READY, Room
from webapp.shell.dependencies import MapsDep, SettingsDep, StoreDep
from webapp.store.engines import AWAY, store_problem
from webapp.store.store import Store

LOG = logging.getLogger("webapp")
router = Room("health")
UNKEPT = {"Cache-Control": "no-store"}


@router.get(HEALTH)
def alive() -> Response:
    """The process answers; nothing else is looked at, so that a busy disk never gets it restarted."""
    return JSONResponse({"status": "ok"}, headers=UNKEPT)


@router.get(READY)
def ready(store: StoreDep, settings: SettingsDep, maps: MapsDep) -> Response:
    """Whether the database answers and the data folder takes files: 503 and why, where not.

    Workers are told where there is a setting for them; that they are away stops nothing but maps and searches.
    """
    problems = (*_database(store), *_folder(settings.data_folder))
    if problems:
        told = [problem.as_json() for problem in problems]
        return JSONResponse({"status": "not ready", "problems": told}, 503, headers=UNKEPT)
    told_of: dict[str, object] = {}
    if maps.workers is not None:
        seen = maps.workers.seen
        told_of = {"workers": {"scheduler": seen.there, "workers": seen.workers_n, "threads": seen.threads_n}}
    return JSONResponse({"status": "ready"} | told_of, headers=UNKEPT)


def _database(store: Store) -> tuple[Problem, ...]:
    """What is wrong with the database; its address is nobody's business here."""
    try:
        store.answers()
    except (SQLAlchemyError, OSError) as refused:
        unknown = Problem("database", "the database does not answer", "see what the service writes", code=AWAY)
        try:
            told = store_problem(refused, None) if isinstance(refused, SQLAlchemyError) else unknown
        except SQLAlchemyError:
            told = unknown
        LOG.error("not ready: %s", told.what)
        return (Problem("database", told.what, told.expected, code=AWAY),)
    return ()


def _folder(folder: Path) -> tuple[Problem, ...]:
    """What is wrong with the folder that terrain, levels and recordings are kept in."""
    try:
        handle, name = tempfile.mkstemp(prefix=".ready-", dir=folder)
        with os.fdopen(handle, "wb") as file:
            file.write(b"\0" * 4096)  # a full disk takes a name and no content
        Path(name).unlink()
    except OSError:
        what = "nothing can be written in the data folder: it is full, away or read-only"
        return (Problem("data", what, "room, and the right to write there", code="data-unwritable"),)
    return ()
