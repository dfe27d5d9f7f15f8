"""For whatever watches the service: whether the process answers, and whether it can do its work. No name is needed."""

import logging
import os
import tempfile
from pathlib import Path

from fastapi.responses import JSONResponse, Response
from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import Problem
from webapp.config.addresses import HEALTH, READY, Room
from webapp.shell.dependencies import SettingsDep, StoreDep
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
def ready(store: StoreDep, settings: SettingsDep) -> Response:
    """Whether the database answers and the data folder takes files: 503 and why, where not."""
    problems = (*_database(store), *_folder(settings.data_folder))
    if problems:
        told = [problem.as_json() for problem in problems]
        return JSONResponse({"status": "not ready", "problems": told}, 503, headers=UNKEPT)
    return JSONResponse({"status": "ready"}, headers=UNKEPT)


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
