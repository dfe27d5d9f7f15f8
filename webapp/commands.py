"""Commands beside the server: users, backup and restore, the record. They work while it runs."""

import argparse
import getpass
import os
import sys
from collections.abc import Callable
from pathlib import Path

from sfn.errors import PlanError, Problem
from webapp.app import create_app
from webapp.config.settings import Settings, begun, secrets_there
from webapp.on_air.packet import packet
from webapp.on_air.site_links import USUAL_DAYS
from webapp.shell.dependencies import opened
from webapp.shell.problems import RefusedError
from webapp.store import backup, exchange
from webapp.store.audit import ACTING, Acting
from webapp.store.restore import restore
from webapp.store.roles import ROLES
from webapp.store.store import MissingError, Store


def add_to(parser: argparse.ArgumentParser) -> None:
    """Put the commands beside the server's options."""
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands, while it runs or not")
    user = commands.add_parser("user", help="who may come in").add_subparsers(dest="act", required=True)
    added = user.add_parser("add", help="a new user; asks for the password")
    added.add_argument("name", metavar="NAME")
    added.add_argument("--role", required=True, choices=list(ROLES))
    user.add_parser("list", help="every user")
    role = user.add_parser("role", help="give a user another role")
    role.add_argument("name", metavar="NAME")
    role.add_argument("role", choices=list(ROLES))
    for act, what in (("password", "set a user's password"), ("end", "let a user in no more")):
        user.add_parser(act, help=what).add_argument("name", metavar="NAME")
    made = commands.add_parser("backup", help="write everything into one archive, while it runs")
    made.add_argument("file", metavar="FILE", type=Path)
    made.add_argument("--whole", action="store_true", help="terrain and people files too, not only their digests")
    put = commands.add_parser("restore", help="put a backup in the place of what is there")
    put.add_argument("file", metavar="FILE", type=Path)
    put.add_argument("--replace", action="store_true", help="networks that are there give way; a copy is kept")
    held = "also where its database was damaged before: what is, is named, and opens nothing"
    put.add_argument("--with-damage", action="store_true", help=held)
    for name, what in (
        ("backup-verify", "look through a backup: digests, database, documents, record"),
        ("export", "every network with all its revisions and entries, as JSON lines"),
        ("import", "put an export beside the networks that are there"),
    ):
        commands.add_parser(name, help=what).add_argument("file", metavar="FILE", type=Path)
    made = commands.add_parser("packet", help="change plan, every sheet and signed links of a network in one PDF")
    made.add_argument("network", metavar="NETWORK", type=int, help="its number, as in its address")
    made.add_argument("file", metavar="FILE", type=Path)
    made.add_argument("--paper", choices=["a4", "letter"], default="a4")
    made.add_argument("--days", type=int, default=USUAL_DAYS, help=f"how long its links last ({USUAL_DAYS})")
    made = commands.add_parser("audit-verify", help="look for changed lines in the record of what was done")
    made.add_argument("--last", metavar="HASH", default="", help="of a last line that was noted: it is to be there")
    made = commands.add_parser(SERVICE_FILES, help="write the files that run it as a service: systemd, containers, TLS")
    made.add_argument("folder", metavar="FOLDER", type=Path, help="where they are put; nothing there is overwritten")


def only_reads(given: argparse.Namespace) -> bool:
    """Whether a command has nothing to do where nothing is: then it makes nothing either."""
    command = given.command
    return command in READS or (command == "user" and given.act != "add")


def run(settings: Settings, given: argparse.Namespace) -> int:
    """Do a command; raises `PlanError` with every reason why not."""
    who = os.environ.get("USER") or os.environ.get("USERNAME") or "somebody at the machine"
    before = ACTING.set(Acting(f"{who} (command)", "administrator", "command", ""))
    try:
        return COMMANDS[given.command](settings, given)
    finally:
        ACTING.reset(before)


def user(settings: Settings, given: argparse.Namespace) -> int:
    """Users: add, list, role, password, end."""
    store = Store(settings.database_url)
    try:
        accounts = store.accounts
        if given.act == "add":
            accounts.add(given.name, role=given.role, password=typed_password())
            begun(settings.data_folder)
            print(f"{given.name} may come in as {given.role}, from now on.")
        elif given.act == "role":
            accounts.set_role(given.name, given.role)
        elif given.act == "password":
            accounts.set_password(given.name, typed_password())
        elif given.act == "end":
            accounts.end(given.name)
        else:
            for one in accounts.users():
                ended = "" if one.ended_at is None else f"  ended {one.ended_at:%Y-%m-%d}"
                print(f"{one.name}\t{one.role}{ended}{'  damaged: comes in no more' if one.damaged else ''}")
    finally:
        store.close()
    return 0


def typed_password() -> str:
    """A new password, asked for twice; once where the input is not a terminal."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    password = getpass.getpass("New password (12 characters or more): ")
    if getpass.getpass("The same again: ") != password:
        problem = Problem("password", "the two are not the same", "the same password twice", code="passwords-differ")
        raise PlanError([problem])
    return password


def audit_verify(settings: Settings, given: argparse.Namespace) -> int:
    """Look through the record; 1 where a line was changed, put in or taken out, or the end cut off."""
    with backup.to_read(settings) as (store, _):
        found = store.audit.verify(known=given.last.strip().lower())
    for fault in found.faults:
        print(fault, file=sys.stderr)
    print(f"{found.lines} lines, the last {found.last}")
    print("Who may write the database could make all of them anew: note that hash elsewhere, for --last HASH.")
    return 1 if found.faults else 0


def make_backup(settings: Settings, given: argparse.Namespace) -> int:
    """Write a backup, and say so in the record."""
    with backup.to_read(settings) as (store, writable):
        made = backup.backup(settings, given.file, whole=given.whole)
        if writable:
            store.audit.add("backed up", subject=given.file.name, body={"parts": made.parts, "bytes": made.size_bytes})
        else:
            print(f"{settings.data_folder} cannot be written: the record there does not say that this was made")
    print(f"{given.file}: {made.parts} parts, {made.size_bytes:,} bytes".replace(",", " "))
    if made.referred:
        print(f"{made.referred} terrain and people files are only named: keep them too, or use --whole")
    return 0


def restore_backup(settings: Settings, given: argparse.Namespace) -> int:
    """Put a backup in the place of what is there."""
    for line in restore(settings, given.file, replace=given.replace, with_damage=given.with_damage):
        print(line)
    print(f"{given.file} is restored into {settings.data_folder}")
    return 0


def verify_backup(_settings: Settings, given: argparse.Namespace) -> int:
    """Look through a backup; 1 where something in it does not hold."""
    found = backup.verify(given.file)
    wrong = (*found.faults, *found.damage, *found.remarks)
    for fault in wrong:
        print(fault, file=sys.stderr)
    print(f"made {found.made_at}: {found.networks} networks, {found.revisions} revisions")
    if found.damage and not found.faults:
        print("it can be put back by restore --with-damage: all but what is named above, which opens nothing")
    elif found.remarks and not found.faults:
        print("it can be put back: of what is damaged nothing but itself is lost")
    return 1 if wrong else 0


def export(settings: Settings, given: argparse.Namespace) -> int:
    """Write every network as JSON lines."""
    store = Store(settings.database_url)
    try:
        with given.file.open("x", encoding="utf-8") as out:
            out.writelines(exchange.exported(store))
        store.audit.add("exported", subject=given.file.name)
    except OSError as refused:
        problem = Problem(
            str(given.file), f"cannot be written ({refused.strerror})", "a new file", code="export-unwritten"
        )
        raise PlanError([problem]) from refused
    finally:
        store.close()
    return 0


def take_in(settings: Settings, given: argparse.Namespace) -> int:
    """Put an export beside the networks that are there."""
    store = Store(settings.database_url)
    try:
        with given.file.open(encoding="utf-8") as lines:
            print(f"{exchange.imported(store, lines)} networks are imported")
        begun(settings.data_folder)
    except (OSError, UnicodeDecodeError) as refused:
        problem = Problem(str(given.file), "cannot be read", "a file that `export` wrote", code="store-import")
        raise PlanError([problem]) from refused
    finally:
        store.close()
    return 0


def make_packet(settings: Settings, given: argparse.Namespace) -> int:
    """Write the work packet of a network's newest revision; its links are made."""
    secrets_there(settings)
    store = Store(settings.database_url)
    app = create_app(settings, store)
    try:
        base, maps = settings.public_url, app.state.maps
        found = opened(store.read(given.network), store, maps)
        made = packet(found, store, maps, settings, base=base, days=given.days, paper=given.paper)
        with given.file.open("xb") as out:
            out.write(made)
    except MissingError as missing:
        what = f"there is no network {given.network}"
        problem = Problem("network", what, "the number in a network's address", code="no-such-network")
        raise PlanError([problem]) from missing
    except RefusedError as refused:
        raise PlanError(refused.problems) from refused
    except OSError as refused:
        problem = Problem(
            str(given.file), f"cannot be written ({refused.strerror})", "a new file", code="export-unwritten"
        )
        raise PlanError([problem]) from refused
    finally:
        app.state.maps.close()
        store.close()
    print(f"{given.file}: revision {found.head.revision.number}, {len(made):,} bytes".replace(",", " "))
    if not base:
        print("It has no QR codes: SFN_DELAYS_PUBLIC_URL is not set")
    return 0


def service_files(folder: Path) -> int:
    """Write the unit, the container files and the TLS proxy's, to be looked at and changed.

    Raises
    ------
    PlanError
        If one of them is there, or cannot be written.
    """
    for source in sorted(SERVICE_FOLDER.iterdir()):
        target = folder / source.name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with target.open("x", encoding="utf-8") as out:
                out.write(source.read_text(encoding="utf-8"))
        except OSError as refused:
            what = f"cannot be written ({refused.strerror})"
            raise PlanError([Problem(str(target), what, "a new file", code="export-unwritten")]) from refused
        print(target)
    return 0


SERVICE_FILES = "service-files"
SERVICE_FOLDER = Path(__file__).parent / "service_files"
READS = ("backup", "backup-verify", "export", "packet", "audit-verify")
COMMANDS: dict[str, Callable[[Settings, argparse.Namespace], int]] = {
    "user": user,
    "backup": make_backup,
    "restore": restore_backup,
    "backup-verify": verify_backup,
    "export": export,
    "import": take_in,
    "packet": make_packet,
    "audit-verify": audit_verify,
}
