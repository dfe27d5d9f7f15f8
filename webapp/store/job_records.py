"""Computations that were asked for, and what those that ended answered: plain data that outlive the process.

Nothing here is a program's own object: what was asked and what was answered is JSON, and each row is sealed like any
other. A row that is not what was written answers nothing: the computation is done again.
"""

import json
import secrets
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Engine, delete, func, select
from sqlalchemy.engine import Connection
from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import Problem
from webapp.store import common
from webapp.store.schema import common as shared, jobs
from webapp.store.seals import change, digest_of, holds, put, rows, utc, utc_or_none

OPEN, FINISHED = "open", "finished"
"""Of a row: it waits or is worked on; it has its answer."""
KEPT_DAYS = 30
BEAT_S, GONE_S = 10.0, 60.0
"""How often each of several processes says that it is there, and after which silence it counts as gone."""
FOLLOW_S = 1.0
"""How often it says how far its computations are, and looks which of them are to stop."""
Told = Callable[[], Mapping[str, Mapping[str, Any]]]
"""How far the open computations of this process are, by id, as JSON has it."""
MOST_ANSWER_BYTES = 8_000_000
"""A larger answer is not kept, and its page says so."""


@dataclass(frozen=True, slots=True)
class JobRecord:
    """One computation as the database has it."""

    id: str
    key: str
    title: str
    function: str
    """Which kind of computation; empty where it cannot be started again out of what is kept."""
    asked: Mapping[str, Any]
    started_by: str
    asked_at: datetime
    ended_at: datetime | None
    state: str
    problems: tuple[Problem, ...]
    result_url: str | None
    answer: Mapping[str, Any] | None
    """None where it has none that is kept."""
    cut_short: bool = False
    """Whether somebody stopped it, and it answered with what it had."""
    process: str = ""
    """Which process of the service it was begun in."""
    elsewhere: bool = False
    """Whether it is open, and that is another process, which is there."""
    told: Mapping[str, Any] = field(default_factory=dict)
    """How far that process said last that it is; empty where it has said nothing yet."""
    damaged: bool = False
    """Whether the row is not what was written: then nothing of it is known but its number."""


class JobRecords:
    """The computations in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime]) -> None:
        self._engine, self._clock = engine, clock
        self._writing = engine.execution_options(writes=True)
        self._shared = engine.dialect.name == "postgresql"  # SQLite serves one process: whatever else was open, ended
        self._process, self._ended = secrets.token_hex(8), threading.Event()
        self._beating: threading.Thread | None = None
        self._told: Told = dict
        self._stop: Callable[[str], None] = lambda _: None
        self._said: dict[str, str] = {}

    def begin(
        self, job_id: str, *, key: str, title: str, function: str, asked: Mapping[str, Any], who: str,
        result_url: str | None,
    ) -> None:  # fmt: skip
        """Note what was asked for; those of over `KEPT_DAYS` days ago go."""
        now = self._now()
        with self._writing.begin() as connection:
            connection.execute(delete(jobs).where(jobs.c.asked_at < now - timedelta(days=KEPT_DAYS)))
            values = {
                "id": job_id,
                "key": key,
                "title": title,
                "function": function,
                "started_by": who,
                "asked_at": now,
                "state": OPEN,
                "result_url": result_url,
                "body": json.dumps(
                    {"asked": dict(asked), "process": self._process}, ensure_ascii=False, allow_nan=False
                ),
                "answer": "",
            }
            put(connection, jobs, values)
            if self._shared:
                still = select(jobs.c.id).where(jobs.c.state == OPEN)
                connection.execute(delete(shared).where(shared.c.name.like("job %"), _id_in_name.not_in(still)))
        if self._shared and self._beating is None:
            self._beat()
            self._beating = threading.Thread(target=self._beats, name="beats", daemon=True)
            self._beating.start()

    def close(self) -> None:
        """Say that this process works at nothing any more."""
        self._ended.set()
        if self._beating is not None:
            self._beating.join(timeout=10)
            with suppress(SQLAlchemyError), self._writing.begin() as connection:
                common.put(connection, self._name(self._process), "0")

    def _beats(self) -> None:
        beaten = time.monotonic()
        while not self._ended.wait(FOLLOW_S):
            with suppress(SQLAlchemyError):  # away for a while: so is whoever would ask
                self._follow()
                if time.monotonic() - beaten >= BEAT_S:
                    self._beat()
                    beaten = time.monotonic()

    def followed(self, told: Told, stop: Callable[[str], None]) -> None:
        """From whom to learn how far this process is, and whom to tell that another one wants a computation stopped."""
        self._told, self._stop = told, stop

    def ask_stop(self, job_id: str) -> None:
        """Ask the process that works at a computation to stop it."""
        with self._writing.begin() as connection:
            common.put(connection, _name_of(job_id, "stop"), "asked")

    def _follow(self) -> None:
        """Say how far each is where that has changed, and stop what is asked to stop."""
        told = {job_id: json.dumps(dict(one), ensure_ascii=False) for job_id, one in self._told().items()}
        if told:
            names = {_name_of(job_id, "stop"): job_id for job_id in told}
            with self._engine.begin() as connection:
                found = connection.execute(select(shared.c.name).where(shared.c.name.in_(names))).scalars().all()
            for name in found:
                self._stop(names[name])
        if changed := {job_id: text for job_id, text in told.items() if self._said.get(job_id) != text}:
            with self._writing.begin() as connection:
                for job_id, text in changed.items():
                    common.put(connection, _name_of(job_id, "told"), text)
        self._said = told

    def _beat(self) -> None:
        """Tell the other processes that this one is there."""
        with self._writing.begin() as connection:
            common.put(connection, self._name(self._process), f"{time.time():.0f}")

    def _name(self, process: str) -> str:
        return f"process {process}"

    def _there(self, connection: Connection, process: str) -> bool:
        """Whether another process said lately that it is there."""
        said = common.read(connection, self._name(process)) if self._shared and process != self._process else None
        return said is not None and time.time() - float(said) < GONE_S

    def end(
        self, job_id: str, state: str, *, asked: Mapping[str, Any], problems: Sequence[Problem],
        answer: Mapping[str, Any] | None, cut_short: bool,
    ) -> None:  # fmt: skip
        """Note how one ended, and its answer where that is plain data and not too large."""
        text = "" if answer is None else json.dumps(dict(answer), ensure_ascii=False)
        if len(text.encode()) > MOST_ANSWER_BYTES:
            text = ""
        body = {"asked": dict(asked), "problems": [_plain(one) for one in problems], "cut_short": cut_short}
        values = {
            "state": state,
            "ended_at": self._now(),
            "body": json.dumps(body, ensure_ascii=False),
            "answer": text,
            "digest": digest_of(text),
        }
        with self._writing.begin() as connection:
            change(connection, jobs, jobs.c.id == job_id, values)

    def find(self, job_id: str) -> JobRecord | None:
        """One by its id; None where there is none."""
        with self._engine.begin() as connection:
            row = connection.execute(rows(jobs).where(jobs.c.id == job_id)).first()
            found = None if row is None else _record(row)
            if found is not None and found.state == OPEN and self._there(connection, found.process):
                said = common.read(connection, _name_of(job_id, "told"))
                return replace(found, elsewhere=True, told={} if said is None else json.loads(said))
            return found

    def _now(self) -> datetime:
        return self._clock().replace(tzinfo=None)


_id_in_name = func.substr(shared.c.name, len("job ") + 1, 12)  # ids have twelve characters


def _name_of(job_id: str, what: str) -> str:
    """Under which name all processes find something of a computation."""
    return f"job {job_id} {what}"


def _plain(problem: Problem) -> dict[str, Any]:
    """What is kept of a problem."""
    return {"where": problem.where, "what": str(problem.what), "expected": str(problem.expected), "code": problem.code}


def _record(row: Any) -> JobRecord:
    """The record of a row."""
    if not holds(jobs, row):
        moment = utc_or_none(row.asked_at) or datetime.min
        return JobRecord(str(row.id), "", "", "", {}, "", moment, None, "", (), None, None, damaged=True)
    body = json.loads(row.body)
    return JobRecord(
        row.id, row.key, row.title, row.function, body["asked"], row.started_by, utc(row.asked_at),
        utc_or_none(row.ended_at), row.state, tuple(Problem(**one) for one in body.get("problems", ())),
        row.result_url, json.loads(row.answer) if row.answer else None, bool(body.get("cut_short")),
        str(body.get("process", "")),
    )  # fmt: skip
