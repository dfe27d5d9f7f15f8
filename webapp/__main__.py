"""``python -m webapp``: settings, application, server. Prints the address to open. Commands: `webapp.commands`."""

import argparse
import gc
import getpass
import os
import secrets
import signal
import socket
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from multiprocessing import get_context

_COLLECTING = gc.isenabled()
gc.disable()  # what imports make stays: to look through it again and again was a sixth of the start

# ruff: noqa: E402
import uvicorn

from sfn.errors import PlanError, Problem
from sfn.study.warm import compiled, warm
from webapp import commands
from webapp.app import create_app
from webapp.config.provider_settings import SECRET
from webapp.config.settings import (
    DEFAULT_PORT,
    Settings,
    begun,
    read_secrets,
    read_settings,
    secrets_there,
    write_secrets,
)
from webapp.shell import log_lines
from webapp.shell.connections import protocol
from webapp.shell.provider import usable
from webapp.store.backup import ONE_SERVER, alone
from webapp.store.common import same_key
from webapp.store.engines import REFUSALS, store_problem
from webapp.store.passwords import hash_password, token_hash
from webapp.store.store import Store

if _COLLECTING:
    gc.enable()

COLLECTED_AT = (50_000, 20, 50)
"""New containers, and turns, after which Python looks for what is held by nobody."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the application, or one of its commands. 0 done, 1 found something wrong, 2 could not."""
    given = arguments().parse_args(argv)
    try:
        if given.command == commands.SERVICE_FILES:  # of no installation in particular
            return commands.service_files(given.folder)
        settings = read_settings(
            os.environ,
            host=given.host,
            port=given.port,
            data_folder=given.data,
            database_url=given.database,
            restoring=given.command in ("restore", "backup-verify"),
            reading=commands.only_reads(given),
        )
        if given.command is not None:
            return commands.run(settings, given)
        if given.set_password:
            return set_password(settings)
        if given.new_api_token:
            return new_api_token(settings)
        if given.set_provider_secret:
            return set_provider_secret(settings)
        return serve(settings)
    except REFUSALS as refused:
        print(store_problem(refused, None).line("webapp"), file=sys.stderr)
        return 2
    except PlanError as refused:
        for problem in refused.problems:
            print(problem.line("webapp"), file=sys.stderr)
        return 2


def arguments() -> argparse.ArgumentParser:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m webapp", description="Serve sfn-delays.")
    parser.add_argument("--host", help="address to listen on (127.0.0.1); others only with users")
    parser.add_argument("--port", help=f"port ({DEFAULT_PORT}); 0 takes any free one")
    parser.add_argument("--data", metavar="FOLDER", help="where networks and secrets are kept")
    parser.add_argument("--database", metavar="URL", help="SQLAlchemy URL (a SQLite file in the data folder)")
    parser.add_argument("--set-password", action="store_true", help="ask for a password, keep its hash, and end")
    parser.add_argument("--new-api-token", action="store_true", help="print a new token for scripts, and end")
    secret = "--set-provider-secret"
    parser.add_argument(
        secret, action="store_true", help="ask for the OpenID Connect client's secret, keep it, and end"
    )
    commands.add_to(parser)
    return parser


def serve(settings: Settings) -> int:
    """Listen and answer until stopped.

    Raises
    ------
    PlanError
        If others are meant to reach it and nobody would be asked who they are, the address is taken, or the database
        is SQLite's and another process serves it.
    """
    store = Store(settings.database_url)
    one_server = ExitStack()
    try:
        closed(settings, store)
        if store.shared:
            with store.writing() as connection:
                same_key(connection, settings.session_key)
        else:
            one_server.enter_context(alone(settings.data_folder, what=ONE_SERVER))
        begun(settings.data_folder)
        listener = listen(settings)
    except PlanError:
        one_server.close()
        store.close()
        raise
    port = listener.getsockname()[1]
    shown = f"[{settings.host}]" if ":" in settings.host else settings.host
    app = create_app(settings, store)
    log_lines.set_up(settings)
    print(f"sfn-delays is ready: open http://{shown}:{port}/ in a browser. Ctrl-C ends it.", flush=True)
    if not settings.on_loopback and not settings.https:
        print("Passwords travel unencrypted here: put a TLS proxy in front, and set SFN_DELAYS_HTTPS=yes.", flush=True)
    config = uvicorn.Config(
        app,
        http=protocol(settings.limits),
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=5,
    )
    # What stands for good is looked through no more: each full collection took some 100 ms of whatever request met it.
    gc.collect()
    gc.freeze()
    # A document of 2 MB is 150,000 lists: at 700 a time the young ones were half of the time that reading it took.
    gc.set_threshold(*COLLECTED_AT)
    one_server.enter_context(alone(settings.data_folder, shared=True))
    with one_server, _compiling(), suppress(KeyboardInterrupt), _stopped_by_term():
        uvicorn.Server(config).run(sockets=[listener])
    return 0


@contextmanager
def _stopped_by_term() -> Iterator[None]:
    """The server ends itself at SIGTERM and then raises it once more: by then all is done, and what follows is ours."""
    before = signal.signal(signal.SIGTERM, lambda *_: None)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def _compiling() -> Iterator[None]:
    """At the first start a process beside this one compiles what maps need, so that no page waits for all of it."""
    if compiled():
        yield
        return
    print(
        "First start: what maps need is compiled beside this, some two minutes; maps are slow until then.", flush=True
    )
    beside = get_context("spawn").Process(target=warm, name="compiler", daemon=True)
    beside.start()
    try:
        yield
    finally:
        beside.terminate()


def closed(settings: Settings, store: Store) -> None:
    """Refuse to start where others are meant to reach it and nobody would be asked who they are.

    Raises
    ------
    PlanError
        If there are no users and no password, `secrets.json` is lost, or approvals need proven names.
    """
    secrets_there(settings)
    known = store.accounts.some()
    first = "python -m webapp user add NAME --role administrator first (or --set-password)"
    if settings.public and not known and settings.password_hash is None:
        named = settings.public_url or ", ".join(settings.allowed_hosts) or settings.host
        what = f"{named} can be reached from other machines, and there are no users and no password"
        expected = f"{first}, or 127.0.0.1 without a public name"
        raise PlanError([Problem("host", what, expected, code="password-needed", values={"host": settings.host})])
    if settings.provider is not None:
        usable(settings.provider)
    if settings.approval == "other" and not known:
        what = "approvals by another person need names that are proven, and there are no users"
        raise PlanError([Problem("SFN_DELAYS_APPROVAL", what, first, code="password-needed")])


def listen(settings: Settings) -> socket.socket:
    """A bound socket, so that a taken port is told in words and port 0 in numbers."""
    try:
        return socket.create_server(
            (settings.host, settings.port), family=socket.AF_INET6 if ":" in settings.host else socket.AF_INET
        )
    except OSError as refused:
        what = f"cannot listen on {settings.host} port {settings.port} ({refused.strerror})"
        raise PlanError(
            [Problem("port", what, "a free port: --port NUMBER, or 0 for any free one", code="port-unusable")]
        ) from refused


def set_password(settings: Settings) -> int:
    """Ask twice (once where the input is not a terminal), keep the hash."""
    if sys.stdin.isatty():
        password = getpass.getpass("New password (12 characters or more): ")
        if getpass.getpass("The same again: ") != password:
            raise PlanError(
                [Problem("password", "the two are not the same", "the same password twice", code="passwords-differ")]
            )
    else:
        password = sys.stdin.readline().rstrip("\n")
    _keep(settings, "password_hash", hash_password(password))
    print("The password is set and asked for from now on; sessions of before end. Users by name: user add NAME.")
    return 0


def new_api_token(settings: Settings) -> int:
    """Print a new token once; only its hash is kept, and the token before it ends."""
    token = secrets.token_urlsafe(32)
    _keep(settings, "api_token_hash", token_hash(token))
    print(token)
    return 0


def set_provider_secret(settings: Settings) -> int:
    """Keep the secret that this application has at the OpenID Connect provider."""
    asked = getpass.getpass("Client secret: ") if sys.stdin.isatty() else sys.stdin.readline()
    if not asked.strip():
        raise PlanError([Problem("secret", "nothing was typed", "the client's secret", code="nothing-typed")])
    _keep(settings, SECRET, asked.strip())
    print("The client's secret is kept in secrets.json; it counts from the next start.")
    return 0


def _keep(settings: Settings, name: str, value: str) -> None:
    write_secrets(settings.data_folder, {**read_secrets(settings.data_folder), name: value})


if __name__ == "__main__":
    sys.exit(main())
