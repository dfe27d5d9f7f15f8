"""Backup of all that one installation keeps, while it runs: one archive, every part with its digest.

| in the archive | what |
|---|---|
| ``manifest.json`` | version of the tables, and of every part its bytes and SHA-256 |
| ``networks.sqlite`` | networks, revisions, entries, users, the record: SQLite's online backup, or PostgreSQL's rows |
| ``secrets.json``, ``services.toml`` | keys and the own file of services, where there are any |
| ``terrain/...`` | terrain and people files: their names and digests, or all of them |

What puts it back is `webapp.store.restore`.
It holds password hashes and the key that signs sessions: keep it as you keep the installation itself.
"""

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any

from sfn.errors import PlanError, Problem
from sfn.plan import checksum
from sfn.units import counted
from webapp.config.settings import SECRETS_FILE, SERVICES_FILE, Settings
from webapp.store import carried
from webapp.store.documents import network_of
from webapp.store.engines import file_of
from webapp.store.migrations import versions
from webapp.store.store import Store

MANIFEST, DATABASE, TERRAIN = "manifest.json", "networks.sqlite", "terrain"
FORMAT = 1
LOCK_FILE, ONE_SERVER = "serving.lock", "server.lock"
MOST_MANIFEST_BYTES = 20_000_000
MOST_PARTS = 100_000
BLOCK = 1 << 20
MOST_SAID = 20
# What a damaged archive raises.
UNREADABLE = (OSError, EOFError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError)


@dataclass(frozen=True, slots=True)
class Made:
    """What a backup holds."""

    parts: int
    size_bytes: int
    referred: int
    """Terrain and people files that it only names."""


@dataclass(frozen=True, slots=True)
class Verified:
    """What looking through a backup found."""

    networks: int
    revisions: int
    made_at: str
    faults: tuple[str, ...]
    """The archive is not what was written, or its database none that can be read: it cannot be put back."""
    damage: tuple[str, ...] = ()
    """What the database had lost before the backup was made: a newest revision, a user, a token, a link, an entry, a
    line of the record. Each is refused where it is asked for; somebody says that it is put back all the same."""
    remarks: tuple[str, ...] = ()
    """Older revisions, drafts and overlays that are not what was kept: nothing in force rests on them, and each is
    refused where it is."""


def backup(settings: Settings, target: Path, *, whole: bool) -> Made:
    """Write a backup; beside its place first, so that a backup is whole or not there.

    Parameters
    ----------
    settings : Settings
    target : Path
        The archive. One that is there is not overwritten.
    whole : bool
        Terrain and people files included, not only named.

    Raises
    ------
    PlanError
        If the database is not there, `target` is, or a file cannot be read or written.
    """
    if target.exists():
        raise refusal(str(target), "is there already", "another name, or the old one moved away", "backup-exists")
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as folder:
            held = Path(folder) / DATABASE
            _database_into(settings, held)
            with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
                made = _written(settings, stream, held, whole=whole)
                stream.flush()
                os.fsync(stream.fileno())
        part.replace(target)
    except (OSError, sqlite3.Error) as refused:
        raise refusal(
            str(target), f"cannot be written ({refused})", "room, and a folder that may be written", "backup-unwritten"
        ) from refused
    finally:
        part.unlink(missing_ok=True)
    return made


def verify(source: Path) -> Verified:
    """Look through a backup: every digest, the database's own check, every document, the record.

    Raises
    ------
    PlanError
        If it is no backup at all.
    """
    with opened(source) as (archive, manifest), tempfile.TemporaryDirectory(prefix="verify-") as folder:
        faults, damage, remarks = list(_damaged(archive, manifest)), list[str](), list[str]()
        held = Path(folder) / DATABASE
        try:
            with archive.open(DATABASE) as stream, held.open("wb") as out:
                shutil.copyfileobj(stream, out, BLOCK)
            faults += _unsound(held)
            damage += _orphans(held)
            networks, revisions = (0, 0) if faults else _looked_through(held, damage, remarks)
        except (*UNREADABLE, KeyError, sqlite3.Error) as refused:
            faults.append(f"{DATABASE}: cannot be read ({refused})")
            networks = revisions = 0
        made_at = str(manifest.get("made_at", ""))
        return Verified(networks, revisions, made_at, *(_shortened(one) for one in (faults, damage, remarks)))


@contextlib.contextmanager
def alone(folder: Path, *, shared: bool = False, what: str = LOCK_FILE) -> Iterator[None]:
    """Hold the data folder: any number of servers together, a restore alone. Where the system has no locks, nothing.

    `what` is held of it: `ONE_SERVER` by the process that serves SQLite, whose jobs and waits are in its memory.

    Raises
    ------
    PlanError
        If somebody else holds it, or it cannot be written.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    try:
        folder.mkdir(parents=True, exist_ok=True)
        opened = (folder / what).open("ab")
    except OSError as refused:
        said, expected = f"cannot be written ({refused.strerror})", "a folder that may be written; --data"
        raise refusal(str(folder), said, expected, "data-folder-read-only") from refused
    with opened as held:
        try:
            fcntl.flock(held, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
        except OSError:
            said = "is being restored" if shared else "is in use: the application is running"
            expected = "once that has ended"
            if what == ONE_SERVER:
                expected += "; several processes serve one database only where that is PostgreSQL"
            raise refusal(str(folder), said, expected, "data-folder-in-use") from None
        yield


def _database_into(settings: Settings, held: Path) -> None:
    """One state of the database as a SQLite file, whatever is being written."""
    file = file_of(settings.database_url)
    if file is None:
        with carried.opened(settings.database_url) as store:
            carried.to_file(store, held)
        with contextlib.closing(sqlite3.connect(held)) as made:
            made.execute("pragma journal_mode=delete")  # one file, no log beside it
        return
    if not file.is_file():
        raise refusal("database", "there is no SQLite file to back up", "a database that was begun", "backup-database")
    _copied(file, held)


def _copied(source: Path, target: Path) -> None:
    """SQLite's online backup: a whole state, whatever is being written.

    Of a folder that cannot be written, as of a disk with faults, its files: SQLite opens none there, and nobody writes.
    """
    if not _writable(source.parent):
        for beside in ("", "-wal"):
            if (there := source.with_name(source.name + beside)).exists():
                shutil.copyfile(there, target.with_name(target.name + beside))
        with contextlib.closing(sqlite3.connect(target)) as b:
            b.execute("pragma journal_mode=delete")
        return
    with contextlib.closing(sqlite3.connect(source)) as a, contextlib.closing(sqlite3.connect(target)) as b:
        a.backup(b)
        b.execute("pragma journal_mode=delete")  # one file, no log beside it


def _writable(folder: Path) -> bool:
    """Whether files may be made in a folder."""
    return os.access(folder, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


@contextlib.contextmanager
def to_read(settings: Settings) -> Iterator[tuple[Store, bool]]:
    """The store, and whether it may be written: of a folder that cannot be, a copy elsewhere."""
    database = file_of(settings.database_url)
    if database is None or not database.is_file() or _writable(database.parent):
        store = Store(settings.database_url)
        try:
            yield store, True
        finally:
            store.close()
        return
    with tempfile.TemporaryDirectory(prefix="read-") as folder:
        _copied(database, Path(folder) / DATABASE)
        store = Store(f"sqlite:///{(Path(folder) / DATABASE).as_posix()}")
        try:
            yield store, False
        finally:
            store.close()


def _written(settings: Settings, stream: IO[bytes], database: Path, *, whole: bool) -> Made:
    """The archive."""
    parts, referred = [], []
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        named = [(DATABASE, database)]
        named += [
            (name, path) for name in (SECRETS_FILE, SERVICES_FILE) if (path := settings.data_folder / name).is_file()
        ]
        files = _terrain_files(settings.data_folder)
        named += files if whole else []
        for name, path in named:
            parts.append(_added(archive, name, path))
        if not whole:
            referred = [{"name": name, "bytes": path.stat().st_size, "sha256": _digest(path)} for name, path in files]
        manifest = {
            "format": FORMAT,
            "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "version": versions()[-1],
            "parts": parts,
            "referred": referred,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return Made(len(parts), stream.tell(), len(referred))


def _terrain_files(folder: Path) -> list[tuple[str, Path]]:
    """Terrain and people files, by their names in the archive."""
    root = folder / TERRAIN
    found = sorted(path for path in root.rglob("*") if path.is_file() and not path.name.startswith("."))
    return [(f"{TERRAIN}/{path.relative_to(root).as_posix()}", path) for path in found]


def _added(archive: zipfile.ZipFile, name: str, path: Path) -> dict[str, Any]:
    """Put a file into the archive, counting and digesting what is really put there."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source, archive.open(name, "w", force_zip64=True) as target:
        while block := source.read(BLOCK):
            digest.update(block)
            size += len(block)
            target.write(block)
    return {"name": name, "bytes": size, "sha256": digest.hexdigest()}


@contextlib.contextmanager
def opened(source: Path) -> Iterator[tuple[zipfile.ZipFile, dict[str, Any]]]:
    """A backup with its manifest."""
    try:
        archive = zipfile.ZipFile(source)
        manifest = _manifest(archive)
    except (*UNREADABLE, KeyError, ValueError) as refused:
        what = f"is no backup that can be read ({refused})"
        raise refusal(
            str(source), what, "a file that `python -m webapp backup` wrote", "backup-unreadable"
        ) from refused
    with archive:
        yield archive, manifest


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    """What the archive says of itself."""
    if archive.getinfo(MANIFEST).file_size > MOST_MANIFEST_BYTES:
        raise ValueError("its manifest is too large")
    manifest = json.loads(archive.read(MANIFEST))
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise ValueError("its manifest is none of this program")
    return manifest


def _damaged(archive: zipfile.ZipFile, manifest: dict[str, Any]) -> Iterator[str]:
    """What does not agree with the manifest: every part is read up to the length it should have, and no further."""
    parts = {str(part["name"]): part for part in manifest.get("parts", [])[:MOST_PARTS]}
    there = set(archive.namelist()) - {MANIFEST}
    for name in sorted(there ^ set(parts)):
        yield f"{name}: {'not in the manifest' if name in there else 'missing'}"
    for name in sorted(there & set(parts)):
        wanted, digest, left = parts[name], hashlib.sha256(), int(parts[name]["bytes"]) + 1
        try:
            with archive.open(name) as stream:
                while left and (block := stream.read(min(BLOCK, left))):
                    digest.update(block)
                    left -= len(block)
        except UNREADABLE as refused:
            yield f"{name}: cannot be read ({refused})"
            continue
        if left != 1 or digest.hexdigest() != wanted["sha256"]:
            yield f"{name}: its content is not what was backed up"


def _shortened(lines: list[str]) -> tuple[str, ...]:
    """The first of many, and how many more there are."""
    return (*lines[:MOST_SAID], *([f"and {len(lines) - MOST_SAID} more"] if len(lines) > MOST_SAID else []))


def _unsound(database: Path) -> list[str]:
    """What SQLite's own check finds in the file."""
    with contextlib.closing(sqlite3.connect(database)) as held:
        said = [row[0] for row in held.execute("pragma integrity_check")]
    return [f"{DATABASE}: {line}" for line in said if line != "ok"]


def _orphans(database: Path) -> list[str]:
    """Rows of nothing that is there."""
    with contextlib.closing(sqlite3.connect(database)) as held:
        broken = held.execute("pragma foreign_key_check").fetchall()
    return [f"{DATABASE}: {table} row {row} belongs to no {parent}" for table, row, parent, _ in broken]


def _looked_through(database: Path, damage: list[str], remarks: list[str]) -> tuple[int, int]:
    """Networks and revisions; documents are held against their checksums, rows and the record against their seals."""
    store = Store(f"sqlite:///{database.as_posix()}")
    try:
        networks = [*store.summaries(), *store.summaries(deleted=True)]
        revisions = 0
        for network in networks:
            try:
                store.entries.of(network.id, kind="")
            except PlanError as refused:
                damage += [f"{one.where}: {one.what}" for one in refused.problems]
            if store.anew(network.id).needed:
                continue
            if gone_n := store.overlays.gone_n(network.id):
                remarks.append(f"network {network.id}: {counted(gone_n, 'overlay')} of it gone")
            for number in range(1, network.revision + 1):
                revisions += 1
                (damage if number == network.revision else remarks).extend(_fault_of(store, network.id, number))
        damage += store.rows_damaged()
        remarks += store.lesser_damaged()
        damage += [f"record, {fault}" for fault in store.audit.verify().faults]
    finally:
        store.close()
    return len(networks), revisions


def _fault_of(store: Store, network_id: int, number: int) -> Iterator[str]:
    """What is wrong with a revision."""
    where = f"network {network_id}, revision {number}"
    try:
        saved = store.read(network_id, number, even_deleted=True)
        if checksum(network_of(saved.document, "")) != saved.revision.checksum:
            yield f"{where}: its checksum is not that of its document"
    except PlanError as refused:
        yield f"{where}: {refused.problems[0].what}"


def missing(folder: Path, manifest: dict[str, Any]) -> list[str]:
    """Terrain and people files that are named and not there, or are others."""
    said = []
    for one in manifest.get("referred", [])[:MOST_PARTS]:
        path = folder.joinpath(*PurePosixPath(str(one["name"])).parts)
        if not path.is_file():
            said.append(f"{one['name']} is named and not there: put it back before you look at maps")
        elif _digest(path) != one["sha256"]:
            said.append(f"{one['name']} is another file than at the time of the backup: maps may differ")
    return said


def _digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def refusal(where: str, what: str, expected: str, code: str) -> PlanError:
    """One reason why not."""
    return PlanError([Problem(where, what, expected, code=code)])
