"""A backup in the place of what is there: all of it together, what was there set aside in one folder, and told.

What was taken from somebody since the backup was made does not come back unsaid: every session ends, links that were
withdrawn and tokens that were revoked stay so where the database that gives way can be read, and whoever was ended
since, has another role or another password is named.
"""

import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from sqlalchemy import and_, delete, select

from sfn.errors import PlanError, Problem
from sfn.units import counted
from webapp.config.settings import SECRETS_FILE, SERVICES_FILE, Settings
from webapp.store import carried
from webapp.store.backup import BLOCK, DATABASE, TERRAIN, Verified, alone, missing, opened, refusal, verify
from webapp.store.engines import file_of
from webapp.store.migrations import versions
from webapp.store.schema import links, networks, sessions, tokens, users
from webapp.store.seals import change, holds, rows
from webapp.store.store import Store


@dataclass(slots=True)
class TakenBack:
    """What was taken from somebody by the database that gives way."""

    links: dict[str, tuple[str, str | None]] = field(default_factory=dict)
    """When a link was withdrawn and by whom, by its id."""
    tokens: dict[str, str] = field(default_factory=dict)
    """When a token was revoked, by its hash."""
    users: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """Every user's row, by the key of the name."""


def restore(settings: Settings, source: Path, *, replace: bool, with_damage: bool = False) -> tuple[str, ...]:
    """Put a backup in the place of what is there, which is kept beside it in a folder of its own.

    Parameters
    ----------
    settings : Settings
    source : Path
    replace : bool
        Whether networks that are there may give way.
    with_damage : bool
        Whether what the database had lost before the backup was made comes along: refused there, one by one, as here.

    Returns
    -------
    said : tuple of str
        What one should know: where the old is, who may come in again, which terrain files are named and not there.

    Raises
    ------
    PlanError
        If the backup does not hold, was made by a newer program, the application is running, or there are networks.
    """
    found = verify(source)
    if found.faults or (found.damage and not with_damage):
        whole = "a backup that is whole"
        ways = whole if found.faults else f"{whole}, or --with-damage: all else is put back, and this opens nothing"
        raise PlanError(
            Problem(str(source), one, ways, code="backup-damaged") for one in (*found.faults, *found.damage)
        )
    database = file_of(settings.database_url)
    with alone(settings.data_folder), opened(source) as (archive, manifest):
        if manifest.get("version") not in versions():
            what = f"was made by a newer program (tables {manifest.get('version')})"
            raise refusal(str(source), what, "that program, or a newer one", "store-newer")
        if database is None:
            _may_be_exchanged(settings, replace=replace)
        elif database.exists() and not replace:
            expected = "--replace, which sets it aside, or another --data folder"
            raise refusal(str(database), "there is a database already", expected, "store-there")
        try:
            said = [*_exchanged(settings, archive, database, source, found)]
        except OSError as refused:
            what, expected = f"cannot be written ({refused.strerror})", "room, and a folder that may be written"
            raise refusal(str(settings.data_folder), what, expected, "backup-unwritten") from refused
        said += missing(settings.data_folder, manifest)
    return (*said, *found.damage, *found.remarks)


def _exchanged(
    settings: Settings, archive: zipfile.ZipFile, file: Path | None, source: Path, found: Verified
) -> Iterator[str]:
    """Everything is written beside its place first; then the old gives way and the new takes it.

    Of PostgreSQL, without a `file`, rows give way to rows in one transaction; as they were, they are a SQLite file.
    """
    folder = settings.data_folder
    with tempfile.TemporaryDirectory(dir=folder if file is None else file.parent, prefix=".restore-") as held:
        fresh = Path(held)
        names = _unpacked(archive, fresh)
        database = file or _rows_of(settings, fresh / "before" / DATABASE)
        was_there = database.exists()
        taken = _taken_back(database) if was_there else TakenBack()
        said = _brought_up(fresh / DATABASE, taken, source, found)
        aside = folder / f"before-restore-{datetime.now(UTC):%Y%m%dT%H%M%S%f}"
        if file is None:
            with carried.opened(settings.database_url) as store:
                carried.from_file(fresh / DATABASE, store)
        moved = [*_set_aside(folder, database, aside, names)]
        for name in names:
            if name == DATABASE:
                if file is not None:
                    (fresh / name).replace(file)
                continue
            target = folder.joinpath(*PurePosixPath(name).parts)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.move(fresh.joinpath(*PurePosixPath(name).parts), target)
    if moved:
        yield f"what was there is kept in {aside}: {', '.join(moved)}"
    if SERVICES_FILE in moved and SERVICES_FILE not in names:
        yield f"the backup has no {SERVICES_FILE}: only the shipped services are in use"
    if SECRETS_FILE not in names:
        yield f"the backup has no {SECRETS_FILE}: the one that is there stays"
    if was_there and taken is None:
        yield (
            "the database that gave way cannot be read: links, tokens and users that were withdrawn, revoked or ended"
            f" since {found.made_at} are good again; look at each"
        )
    yield from said


def _may_be_exchanged(settings: Settings, *, replace: bool) -> None:
    """Refuse to touch rows of PostgreSQL that are in use, or that nobody said may give way.

    Raises
    ------
    PlanError
        If another process is on the database, or networks or users are there.
    """
    with carried.opened(settings.database_url) as store, store.reading() as connection:
        carried.not_in_use(connection)
        there = connection.execute(select(networks.c.id).limit(1)).first() is not None or store.accounts.some()
    if there and not replace:
        expected = "--replace, which keeps them in a SQLite file, or another database"
        raise refusal("database", "there are networks or users already", expected, "store-there")


def _rows_of(settings: Settings, file: Path) -> Path:
    """What PostgreSQL has, as a SQLite file; none is made where it has nothing."""
    file.parent.mkdir()
    with carried.opened(settings.database_url) as store:
        if not carried.to_file(store, file):
            file.unlink()
    return file


def _unpacked(archive: zipfile.ZipFile, fresh: Path) -> list[str]:
    """Every part of the archive that has a place here, written and on the disk."""
    names = []
    for name in archive.namelist():
        inside = PurePosixPath(name)
        safe = name in (DATABASE, SECRETS_FILE, SERVICES_FILE) or (
            inside.parts[:1] == (TERRAIN,) and ".." not in inside.parts and not inside.is_absolute()
        )
        if not safe or name.endswith("/"):
            continue
        target = fresh.joinpath(*inside.parts)
        target.parent.mkdir(parents=True, exist_ok=True)
        with (
            archive.open(name) as stream,
            os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out,
        ):
            shutil.copyfileobj(stream, out, BLOCK)
            out.flush()
            os.fsync(out.fileno())
        names.append(name)
    return names


def _set_aside(folder: Path, database: Path, aside: Path, names: list[str]) -> Iterator[str]:
    """Move away what gives way: the database with its logs, both files, and terrain where the backup brings it."""
    gives_way = [database.with_name(database.name + beside) for beside in ("", "-wal", "-shm")]
    gives_way += [folder / SERVICES_FILE] + [folder / SECRETS_FILE] * (SECRETS_FILE in names)
    gives_way += [folder / TERRAIN] * any(name.startswith(f"{TERRAIN}/") for name in names)
    for path in gives_way:
        if path.exists():
            aside.mkdir(parents=True, exist_ok=True, mode=0o700)
            shutil.move(path, aside / path.name)
            if not path.name.endswith(("-wal", "-shm")):
                yield path.name


def _taken_back(database: Path) -> TakenBack | None:
    """What the database that gives way took from whom; None where it cannot be read."""
    try:
        with closing(sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True)) as held:
            held.row_factory = sqlite3.Row
            there = {row[0] for row in held.execute("select name from sqlite_master where type = 'table'")}
            made = TakenBack()
            if "links" in there:
                for row in held.execute("select id, withdrawn_at, withdrawn_by from links where withdrawn_at not null"):
                    made.links[row["id"]] = (row["withdrawn_at"], row["withdrawn_by"])
            if "tokens" in there:
                for row in held.execute("select token_hash, revoked_at from tokens where revoked_at not null"):
                    made.tokens[row["token_hash"]] = row["revoked_at"]
            if "users" in there:
                made.users = {row["key"]: dict(row) for row in held.execute("select * from users")}
            return made
    except sqlite3.Error:
        return None


def _brought_up(fresh: Path, taken: TakenBack | None, source: Path, found: Verified) -> tuple[str, ...]:
    """The database of the backup as this program has it: nobody signed in, what was taken back stays so."""
    taken = taken or TakenBack()
    store = Store(f"sqlite:///{fresh.as_posix()}")  # older tables become this program's
    try:
        with store.writing() as connection:
            ended_n = connection.execute(delete(sessions)).rowcount
            links_n = sum(
                change(
                    connection,
                    links,
                    and_(links.c.id == one, links.c.withdrawn_at.is_(None)),
                    {"withdrawn_at": _moment(at), "withdrawn_by": by},
                    damaged=True,
                )
                for one, (at, by) in taken.links.items()
            )
            tokens_n = sum(
                change(
                    connection,
                    tokens,
                    and_(tokens.c.token_hash == one, tokens.c.revoked_at.is_(None)),
                    {"revoked_at": _moment(at)},
                    damaged=True,
                )
                for one, at in taken.tokens.items()
            )
            people = tuple(_people(connection.execute(rows(users)).mappings().all(), taken))
            now = datetime.now(UTC).replace(tzinfo=None)
            opening = rows(links).where(links.c.withdrawn_at.is_(None), links.c.ends_at > now)
            open_n = sum(holds(links, row) for row in connection.execute(opening))
            some = connection.execute(select(users.c.id).limit(1)).first() is not None
            told = {
                "made_at": found.made_at, "networks": found.networks, "sessions_ended": ended_n,
                "links_still_withdrawn": links_n, "tokens_still_revoked": tokens_n, "people": list(people),
                **({"damage": list(found.damage)} if found.damage else {}),
            }  # fmt: skip
            store.audit.add("restored", subject=source.name, body=told, within=connection)
    finally:
        store.close()
    said = ["everybody signs in anew"] if some else []
    if links_n or tokens_n:
        taken_n = f"{counted(links_n, 'link')} withdrawn and {counted(tokens_n, 'token')} revoked"
        said.append(f"{taken_n} since the backup stay so")
    if open_n:
        said.append(
            f"{counted(open_n, 'link')} of the backup can open a sheet until they end; links made since it"
            " open nothing any more"
        )
    return (*said, *people)


def _people(rows: Any, taken: TakenBack) -> Iterator[str]:
    """Who may do again what they might not do any more."""
    for row in rows:
        was = taken.users.get(row["key"])
        if was is None:
            continue
        if was["ended_at"] and row["ended_at"] is None:
            yield f"{row['name']} was ended since, and may come in again as {row['role']}: end them anew"
            continue
        if was["role"] != row["role"]:
            yield f"{row['name']} was {was['role']}, and is {row['role']} again"
        if was["password_hash"] != row["password_hash"]:
            yield f"{row['name']}'s password is that of the backup again"


def _moment(text: Any) -> datetime:
    """A time as SQLite keeps it; now for what a disk made none of: what was taken back stays so."""
    try:
        return datetime.fromisoformat(str(text))
    except ValueError:
        return datetime.now(UTC).replace(tzinfo=None)
