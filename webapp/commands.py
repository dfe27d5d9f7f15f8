"""Commands beside the server: users, backup and restore, the record. They work while it runs."""

import argparse
import getpass
import os
import sys
from collections.abc import Callable

from sfn.errors import PlanError, Problem
from webapp.audit import ACTING, Acting
from webapp.roles import ROLES
from webapp.settings import Settings
from webapp.store import Store


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
    commands.add_parser("audit-verify", help="look for changed lines in the record of what was done")


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
            print(f"{given.name} may come in as {given.role}, from now on.")
        elif given.act == "role":
            accounts.set_role(given.name, given.role)
        elif given.act == "password":
            accounts.set_password(given.name, typed_password())
        elif given.act == "end":
            accounts.end(given.name)
        else:
            for one in accounts.users():
                print(f"{one.name}\t{one.role}{'' if one.ended_at is None else f'  ended {one.ended_at:%Y-%m-%d}'}")
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


def audit_verify(settings: Settings, _given: argparse.Namespace) -> int:
    """Look through the record; 1 where a line was changed, put in or taken out."""
    store = Store(settings.database_url)
    try:
        found = store.audit.verify()
    finally:
        store.close()
    for fault in found.faults:
        print(fault, file=sys.stderr)
    print(f"{found.lines} lines, the last {found.last}")
    return 1 if found.faults else 0


COMMANDS: dict[str, Callable[[Settings, argparse.Namespace], int]] = {
    "user": user,
    "audit-verify": audit_verify,
}
