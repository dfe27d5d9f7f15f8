"""``python -m webapp``: settings, application, server. Prints the address to open."""

import argparse
import getpass
import logging
import os
import secrets
import socket
import sys
from collections.abc import Sequence

import uvicorn

from sfn.errors import PlanError, Problem
from webapp.app import create_app
from webapp.security import hash_password, token_hash
from webapp.settings import DEFAULT_PORT, Settings, read_secrets, read_settings, write_secrets
from webapp.store import Store


def main(argv: Sequence[str] | None = None) -> int:
    """Run the application, or set its password. 0 done, 2 could not."""
    given = arguments().parse_args(argv)
    try:
        settings = read_settings(
            os.environ, host=given.host, port=given.port, data_folder=given.data, database_url=given.database
        )
        if given.set_password:
            return set_password(settings)
        if given.new_api_token:
            return new_api_token(settings)
        return serve(settings)
    except PlanError as refused:
        for problem in refused.problems:
            print(problem.line("webapp"), file=sys.stderr)
        return 2


def arguments() -> argparse.ArgumentParser:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m webapp", description="Serve sfn-delays.")
    parser.add_argument("--host", help="address to listen on (127.0.0.1); others only with a password set")
    parser.add_argument("--port", help=f"port ({DEFAULT_PORT}); 0 takes any free one")
    parser.add_argument("--data", metavar="FOLDER", help="where networks and secrets are kept")
    parser.add_argument("--database", metavar="URL", help="SQLAlchemy URL (a SQLite file in the data folder)")
    parser.add_argument("--set-password", action="store_true", help="ask for a password, keep its hash, and end")
    parser.add_argument("--new-api-token", action="store_true", help="print a new token for scripts, and end")
    return parser


def serve(settings: Settings) -> int:
    """Listen and answer until stopped.

    Raises
    ------
    PlanError
        If it should listen beyond loopback without a password, or the address is taken.
    """
    if not settings.on_loopback and settings.password_hash is None:
        what = f"{settings.host} can be reached from other machines, and no password is set"
        raise PlanError(
            [Problem("host", what, "python -m webapp --set-password first, or 127.0.0.1", code="password-needed")]
        )
    listener = listen(settings)
    port = listener.getsockname()[1]
    shown = f"[{settings.host}]" if ":" in settings.host else settings.host
    app = create_app(settings, Store(settings.database_url))
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    print(f"sfn-delays is ready: open http://{shown}:{port}/ in a browser. Ctrl-C ends it.", flush=True)
    if not settings.on_loopback and not settings.https:
        print("Passwords travel unencrypted here: put a TLS proxy in front, and set SFN_DELAYS_HTTPS=yes.", flush=True)
    config = uvicorn.Config(app, log_config=None, access_log=False, server_header=False, timeout_graceful_shutdown=5)
    uvicorn.Server(config).run(sockets=[listener])
    return 0


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
    print("The password is set. It is asked for from the next start on; sessions started before end then.")
    return 0


def new_api_token(settings: Settings) -> int:
    """Print a new token once; only its hash is kept, and the token before it ends."""
    token = secrets.token_urlsafe(32)
    _keep(settings, "api_token_hash", token_hash(token))
    print(token)
    return 0


def _keep(settings: Settings, name: str, value: str) -> None:
    write_secrets(settings.data_folder, {**read_secrets(settings.data_folder), name: value})


if __name__ == "__main__":
    sys.exit(main())
