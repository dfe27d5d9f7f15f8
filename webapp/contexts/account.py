"""Coming in, one's own account, users, and the record of what was done."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from webapp.accounts import Token, User
from webapp.audit import Line
from webapp.contexts import Context
from webapp.roles import Person


@dataclass(frozen=True, slots=True)
class LogInPage(Context):
    """Asks for name and password."""

    TEMPLATE: ClassVar[str] = "log_in.html"
    after: str
    """Where one wanted to go."""
    names: bool
    """Whether there are users; else one password opens the installation."""
    name: str
    """As it was typed."""
    refusal: str
    """Why the last attempt was refused, or nothing."""
    provider: str = ""
    """What the OpenID Connect provider is called; empty where there is none."""
    provider_refusal: str = ""
    """Why signing in there was refused, or nothing."""


@dataclass(frozen=True, slots=True)
class AccountPage(Context):
    """One's own name, password and tokens."""

    TEMPLATE: ClassVar[str] = "account.html"
    who: Person
    tokens: tuple[Token, ...]
    """One's own, the newest first."""
    made: str
    """A token that was just made: shown this once."""
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class UsersPage(Context):
    """Who may come in."""

    TEMPLATE: ClassVar[str] = "users.html"
    users: tuple[User, ...]
    """Empty where names are not asked for yet."""
    tokens: tuple[Token, ...]
    """Of everybody, the newest first."""
    roles: tuple[tuple[str, str], ...]
    """Each role with what it may do, in words."""
    typed: dict[str, str]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class RecordPage(Context):
    """Who did what, when and from where."""

    TEMPLATE: ClassVar[str] = "record.html"
    lines: tuple[Line, ...]
    """The newest first."""
    actions: tuple[str, ...]
    """Kinds of things that were done, to choose from."""
    action: str
    who: str
    older: str
    """Address of the lines before these; empty where there are none."""
