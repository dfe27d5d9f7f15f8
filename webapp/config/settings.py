"""Typed settings, read once at the start and then handed down; nothing else reads the environment.

| setting | variable | meaning |
|---|---|---|
| `host` | ``SFN_DELAYS_HOST`` | address to listen on; beyond loopback only with users or a password |
| `port` | ``SFN_DELAYS_PORT`` | port to listen on |
| `data_folder` | ``SFN_DELAYS_DATA`` | networks, secrets and caches live here |
| `database_url` | ``SFN_DELAYS_DATABASE`` | SQLAlchemy URL; a file in the data folder by default |
| `allowed_hosts` | ``SFN_DELAYS_HOSTNAMES`` | names under which it answers, separated by commas |
| `https` | ``SFN_DELAYS_HTTPS`` | ``yes`` behind a TLS proxy: cookies then travel over TLS only |
| `public_url` | ``SFN_DELAYS_PUBLIC_URL`` | where others reach it, as ``https://sfn.example.org``: for sheets, links |
| `log` | ``SFN_DELAYS_LOG`` | ``text`` for people, ``json`` for programs: what is written to standard error |
| `access_log` | ``SFN_DELAYS_ACCESS_LOG`` | ``yes``: a line for every request |
| `base_path` | ``SFN_DELAYS_BASE_PATH`` | before every path, behind a proxy: ``/delays``; else the public address's |
| `approval` | ``SFN_DELAYS_APPROVAL`` | ``other``: only who did not make the plan approves, signs off, issues |
| `sources` | ``SFN_DELAYS_DOWNLOADS``, ``SFN_DELAYS_SOURCE_...`` | open data: `sfn.country.sources` |
| `password_hash` | in ``secrets.json`` | argon2 hash, written by ``--set-password`` |
| `api_token_hash` | in ``secrets.json`` | SHA-256 of the token that ``--new-api-token`` printed |
| `workers` | ``SFN_DELAYS_DASK`` | workers on this or other machines: `webapp.config.workers_setting` |
| `provider` | ``SFN_DELAYS_OIDC_...`` | where people may sign in too: `webapp.config.provider_settings` |
| `session_key` | in ``secrets.json`` | signs session cookies; made at the first start |
| `secrets_lost` | found at the start | networks are there and ``secrets.json`` is not: no start |
"""

import contextlib
import ipaddress
import json
import os
import re
import secrets
import socket
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from sfn.country.sources import Sources, data_folder as usual_folder, sources
from sfn.errors import PlanError, Problem
from webapp.config.addresses import PROVIDER_BACK
from webapp.config.limits import Limits
from webapp.config.provider_settings import ProviderSettings, provider_settings
from webapp.config.workers_setting import WorkersSetting, workers_setting

DEFAULT_PORT = 8430
SECRETS_FILE = "secrets.json"
SERVICES_FILE = "services.toml"
DATABASE_FILE = "networks.sqlite"
SHORTEST_KEY_N = 32
"""Characters of the key that signs sessions and links; one that is made has 43."""
KEY_MADE = "-" * SHORTEST_KEY_N
BEGUN = "networks"
"""Key of `secrets.json` that says "not yet" until a database was made: then one that is missing is lost."""


@dataclass(frozen=True, slots=True)
class Settings:
    """All that differs between one installation and another."""

    data_folder: Path
    database_url: str
    session_key: str = field(repr=False)
    host: str = "127.0.0.1"
    port: int = DEFAULT_PORT
    allowed_hosts: tuple[str, ...] = ()
    https: bool = False
    public_url: str = ""
    base_path: str = ""
    password_hash: str | None = field(default=None, repr=False)
    api_token_hash: str | None = field(default=None, repr=False)
    approval: str = "any"
    log: str = "text"
    access_log: bool = False
    provider: ProviderSettings | None = None
    workers: WorkersSetting | None = None
    sources: Sources = field(default_factory=Sources)
    secrets_lost: bool = False
    """Whether networks are there and `secrets.json` is not: what it said of passwords is not known any more."""
    limits: Limits = field(default_factory=Limits)

    @property
    def public(self) -> bool:
        """Whether anybody but this machine is meant to reach it, by any of the settings."""
        named = any(not is_loopback(name) for name in self.allowed_hosts)
        by_url = bool(self.public_url) and not is_loopback(urlsplit(self.public_url).hostname or "")
        return not self.on_loopback or named or by_url or self.https

    @property
    def on_loopback(self) -> bool:
        """Whether only this machine can reach the application."""
        return is_loopback(self.host)


def is_loopback(host: str) -> bool:
    """Whether a host name or address stays on this machine."""
    name = host.strip("[]").rstrip(".").lower()
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        try:
            address = ipaddress.ip_address(socket.inet_aton(name))  # 127.1, 2130706433
        except OSError:
            return False
    return address.is_loopback


def read_settings(
    environ: Mapping[str, str],
    *,
    host: str | None = None,
    port: str | None = None,
    data_folder: str | None = None,
    database_url: str | None = None,
    restoring: bool = False,
    reading: bool = False,
) -> Settings:
    """Settings from the command line, else the environment, else the defaults.

    Makes the data folder and its `secrets.json` where they are not there, unless it is only to be read.

    Raises
    ------
    PlanError
        If the port is not a number from 0 to 65535, a yes/no is neither, the folder cannot be written,
        or `secrets.json` is not readable.
    """
    folder = usual_folder({**environ, "SFN_DELAYS_DATA": data_folder} if data_folder else environ)
    held = read_secrets(folder)
    if len(held.get("session_key", KEY_MADE)) < SHORTEST_KEY_N:
        what = (
            f"{folder / SECRETS_FILE} has a session key of {len(held['session_key'])} characters, which can be guessed"
        )
        raise _refusal("data folder", what, "the file from a backup, or one without that key: a new one is made")
    url = database_url or environ.get("SFN_DELAYS_DATABASE") or f"sqlite:///{(folder / DATABASE_FILE).as_posix()}"
    database = Path(url.removeprefix("sqlite:///")) if url.startswith("sqlite:///") else None
    there = (folder / DATABASE_FILE).exists() or (database is not None and database.exists())
    lost = not (folder / SECRETS_FILE).exists() and there
    if not restoring and database is not None:
        _database_there(folder, database, held, reading=reading)
    if "session_key" not in held:
        held["session_key"] = secrets.token_urlsafe(32)
        if not lost and not reading:
            write_secrets(folder, held if there else {**held, BEGUN: "not yet"})
    names = environ.get("SFN_DELAYS_HOSTNAMES", "")
    public_url = _public_url(environ.get("SFN_DELAYS_PUBLIC_URL", ""))
    return Settings(
        data_folder=folder,
        database_url=url,
        session_key=held["session_key"],
        host=host or environ.get("SFN_DELAYS_HOST") or "127.0.0.1",
        port=_port(port or environ.get("SFN_DELAYS_PORT") or str(DEFAULT_PORT)),
        allowed_hosts=tuple(n.strip().lower() for n in names.split(",") if n.strip()),
        https=_yes_or_no("SFN_DELAYS_HTTPS", environ.get("SFN_DELAYS_HTTPS") or "no"),
        public_url=public_url,
        base_path=_base_path(environ.get("SFN_DELAYS_BASE_PATH", ""), public_url),
        password_hash=held.get("password_hash"),
        api_token_hash=held.get("api_token_hash"),
        approval=_one_of("SFN_DELAYS_APPROVAL", environ.get("SFN_DELAYS_APPROVAL") or "any", ("any", "other")),
        log=_one_of("SFN_DELAYS_LOG", environ.get("SFN_DELAYS_LOG") or "text", ("text", "json")),
        access_log=_yes_or_no("SFN_DELAYS_ACCESS_LOG", environ.get("SFN_DELAYS_ACCESS_LOG") or "no"),
        secrets_lost=lost,
        sources=sources(environ),
        workers=workers_setting(environ),
        provider=provider_settings(environ, held, back=public_url and f"{public_url}{PROVIDER_BACK}"),
    )


class LiveSecrets:
    """Password and token of the installation as they are now: those of the start, or of the file where it is newer.

    A file that becomes unreadable while it runs lets nobody in who was not let in before.
    """

    def __init__(self, settings: Settings) -> None:
        self._path = settings.data_folder / SECRETS_FILE
        self._held = (settings.password_hash, settings.api_token_hash)
        self._seen_ns = self._changed_ns()

    @property
    def password_hash(self) -> str | None:
        """The argon2 hash of the one password; None where there is none."""
        return self._now()[0]

    @property
    def api_token_hash(self) -> str | None:
        """SHA-256 of the one token; None where there is none."""
        return self._now()[1]

    def _now(self) -> tuple[str | None, str | None]:
        changed_ns = self._changed_ns()
        if changed_ns not in (None, self._seen_ns):
            with contextlib.suppress(PlanError):
                held = read_secrets(self._path.parent)
                self._held = (held.get("password_hash"), held.get("api_token_hash"))
                self._seen_ns = changed_ns
        return self._held

    def _changed_ns(self) -> int | None:
        try:
            return self._path.stat().st_mtime_ns
        except OSError:
            return None


def read_secrets(folder: Path) -> dict[str, str]:
    """What `secrets.json` holds; empty before the first start."""
    path = folder / SECRETS_FILE
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as unreadable:
        raise _refusal("data folder", f"{path} cannot be read", "the file from a backup") from unreadable
    if not isinstance(held, dict) or not all(isinstance(one, str) for one in held.values()):
        raise _refusal("data folder", f"{path} is damaged", "the file as this program wrote it, from a backup")
    return {str(k): v for k, v in held.items()}


def secrets_there(settings: Settings) -> None:
    """Refuse to let anybody in, or to sign a link, where `secrets.json` is lost.

    Raises
    ------
    PlanError
        If networks are there and the file is not.
    """
    if settings.secrets_lost:
        what = (
            f"{settings.data_folder / SECRETS_FILE} is gone, and networks are there: it said whether a password is set"
        )
        anew = "or, to begin anew without the password, token and links of before, a file that holds {}"
        raise _refusal("data folder", what, f"the file from a backup; {anew}")


def _database_there(folder: Path, database: Path, held: Mapping[str, str], *, reading: bool) -> None:
    """Refuse to begin anew, with nobody asked who they are, in a folder that was in use; and to read what is not there.

    Raises
    ------
    PlanError
        If the database is empty, or gone beside secrets that were in use, copies of it, or maps that were worked out.
    """
    expected = f"the last backup: python -m webapp restore FILE --replace; or, to begin anew, {database} moved away"
    try:
        empty = database.stat().st_size == 0
    except OSError:
        traces = [
            *folder.glob(f"{database.name}.before-*"),
            *folder.glob("before-restore-*"),
            *folder.glob("rasters/*"),
        ]
        if "session_key" in held and held.get(BEGUN) != "not yet":
            what = f"{database} is gone, and the folder was in use: {folder / SECRETS_FILE} is of its users"
            anew = "to begin anew, with nobody asked for a name, secrets.json moved away"
            expected = (
                "the file put back, SFN_DELAYS_DATABASE or --database where it was moved to, or the last backup: "
                f"python -m webapp restore FILE; or, {anew}"
            )
            raise _refusal("data folder", what, expected) from None
        if traces and database == folder / DATABASE_FILE and (folder / SECRETS_FILE).exists():
            what = f"{database} is gone, and the folder was in use: it has {traces[0].relative_to(folder)}"
            raise _refusal("data folder", what, "the file put back, or what is left moved away") from None
        if reading:
            what = f"{database} is not there" if folder.is_dir() else f"there is no folder {folder}"
            expected = "--data FOLDER, or SFN_DELAYS_DATA: the folder in which the networks are kept"
            raise _refusal("data folder", what, expected) from None
        return
    if empty:
        raise _refusal("data folder", f"{database} is empty: it was cut off", expected)


def begun(folder: Path) -> None:
    """Note that the database was made: one that is missing from now on is lost."""
    held = read_secrets(folder)
    if held.pop(BEGUN, None):
        write_secrets(folder, held)


def write_secrets(folder: Path, held: Mapping[str, str]) -> None:
    """Replace `secrets.json` in one step, readable by its owner only."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        fresh = folder / f".{SECRETS_FILE}.{os.getpid()}"
        descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(dict(held), file, indent=1)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(folder / SECRETS_FILE)
    except OSError as refused:
        raise _refusal(
            "data folder", f"{folder} cannot be written ({refused.strerror})", "a folder that may be written; --data"
        ) from refused


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) > 65535:
        raise _refusal("port", f"the port is {text!r}", "a number from 0 to 65535 (0 takes any free one)")
    return int(text)


def _public_url(text: str) -> str:
    """An address that others can open, without the last slash; empty where none is given."""
    given = text.strip().rstrip("/")
    parts = urlsplit(given)
    if given and (parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment):
        raise _refusal("SFN_DELAYS_PUBLIC_URL", f"SFN_DELAYS_PUBLIC_URL is {text!r}", "as https://sfn.example.org")
    if parts.hostname and is_loopback(parts.hostname):
        what = f"SFN_DELAYS_PUBLIC_URL is {text!r}, which only this machine reaches"
        raise _refusal("SFN_DELAYS_PUBLIC_URL", what, "a name that a phone can reach, or none")
    return given


def _base_path(text: str, public_url: str) -> str:
    """What stands before every path: as it is set, or as the public address has it."""
    given, public = text.strip().rstrip("/"), urlsplit(public_url).path
    if given and not re.fullmatch(r"(/[A-Za-z0-9._~-]+)+", given):
        what = f"SFN_DELAYS_BASE_PATH is {text!r}"
        raise _refusal("SFN_DELAYS_BASE_PATH", what, "as /delays: letters, digits, and . _ ~ - between slashes")
    if given and public_url and given != public:
        what = f"SFN_DELAYS_BASE_PATH is {text!r}, and SFN_DELAYS_PUBLIC_URL is {public_url!r}"
        raise _refusal("SFN_DELAYS_BASE_PATH", what, "a public address that ends in the base path")
    return given or public


def _one_of(name: str, text: str, known: tuple[str, str]) -> str:
    if text not in known:
        raise _refusal(name, f"{name} is {text!r}", " or ".join(known))
    return text


def _yes_or_no(name: str, text: str) -> bool:
    if text.lower() not in ("yes", "no"):
        raise _refusal(name, f"{name} is {text!r}", "yes or no")
    return text.lower() == "yes"


def _refusal(where: str, what: str, expected: str) -> PlanError:
    return PlanError([Problem(where=where, what=what, expected=expected, code="setting-unusable")])
