"""Users, the browsers they are signed in with, and their scripts' tokens. What is made or ended counts at once."""

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Engine, Row, Select, and_, delete, func, select
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from webapp.config.limits import LONGEST_PERSON_N
from webapp.store.audit import Audit
from webapp.store.names import name_problems
from webapp.store.passwords import hash_password, password_matches, token_hash
from webapp.store.roles import ROLES, SCOPES, Person, name_key
from webapp.store.schema import sessions, tokens, users
from webapp.store.seals import change, damaged, first, holds, put, rows, utc, utc_or_none

SESSION_S = 12 * 3600  # one working day; a stolen cookie is worth no more
SESSION_ID_N = 16
MOST_TOKENS = 50
LONGEST_TOKEN_DAYS = 3660


@dataclass(frozen=True, slots=True)
class User:
    """Somebody who may come in."""

    id: int
    name: str
    role: str
    made_at: datetime | None
    ended_at: datetime | None
    damaged: bool = False
    """Whether the row is not what was written: then they do not come in."""


@dataclass(frozen=True, slots=True)
class Token:
    """A script's token, without the token."""

    id: int
    user: str
    label: str
    scope: str
    made_at: datetime | None
    ends_at: datetime | None
    revoked_at: datetime | None
    damaged: bool = False
    """Whether the row is not what was written: then it opens nothing."""


@dataclass(frozen=True, slots=True)
class Session:
    """A browser in which somebody is signed in."""

    id: str
    """Of this list alone: it opens nothing."""
    began_at: datetime
    ends_at: datetime
    address: str
    """From where it was begun, as the server knew it."""
    here: bool
    """Whether it is the one that asks."""


class Accounts:
    """The users in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime], audit: Audit) -> None:
        self._engine, self._clock, self._audit = engine, clock, audit
        self._writing = engine.execution_options(writes=True)
        self._some = False

    # Users

    def some(self) -> bool:
        """Whether there are users, so that names are proven. Once there are, there always are."""
        if not self._some:
            with self._engine.begin() as connection:
                self._some = connection.execute(select(users.c.id).limit(1)).first() is not None
        return self._some

    def users(self) -> tuple[User, ...]:
        """Every user, also those who have left, by name."""
        with self._engine.begin() as connection:
            return tuple(_user(row) for row in connection.execute(rows(users).order_by(users.c.key)))

    def find(self, name: str) -> User | None:
        """The user of a name, also one who has left; None where there never was one."""
        with self._engine.begin() as connection:
            row = connection.execute(_named(rows(users), name)).first()
        return None if row is None else _user(row)

    def add(self, name: str, *, role: str, password: str, because: str = "") -> User:
        """A new user; `because` goes into the record where nobody here made them.

        Raises
        ------
        PlanError
            If the name is taken or none, the role is none, the password too short, or the first is no administrator.
        """
        name = " ".join(name.split())
        problems = [*name_problems(name), *_role_problems(role)]
        if not problems and not self.some() and role != "administrator":
            what = "there is no user yet, and the first makes the others"
            problems.append(Problem("role", what, "administrator", code="first-user-role", fields=("role",)))
        if problems:
            raise PlanError(problems)
        hashed = hash_password(password, name=name)
        with self._writing.begin() as connection:
            if connection.execute(_named(select(users.c.id), name)).first() is not None:
                what = f"there is a user {name} already, or was one"
                raise PlanError([Problem("name", what, "another name", code="user-name-taken", fields=("name",))])
            values = {
                "name": name,
                "key": name_key(name),
                "role": role,
                "password_hash": hashed,
                "made_at": self._now(),
            }
            put(connection, users, values)
            told = {"role": role, "because": because} if because else {"role": role}
            self._audit.add("user added", subject=name, body=told, within=connection)
            row = connection.execute(rows(users).where(users.c.key == name_key(name))).one()
        return _user(row)

    def set_role(self, name: str, role: str) -> None:
        """Give a user another role; raises `PlanError` for none, or for the last administrator."""
        problems = _role_problems(role)
        if problems:
            raise PlanError(problems)
        with self._writing.begin() as connection:
            row = self._row(connection, name)
            if role != "administrator":
                self._another_administrator(connection, row)
            change(connection, users, users.c.id == row.id, {"role": role})
            self._audit.add("role changed", subject=row.name, body={"role": role, "was": row.role}, within=connection)

    def set_password(self, name: str, password: str) -> None:
        """Give a user another password; every session of theirs ends."""
        hashed = hash_password(password, name=name)
        with self._writing.begin() as connection:
            row = self._row(connection, name)
            change(connection, users, users.c.id == row.id, {"password_hash": hashed})
            connection.execute(delete(sessions).where(sessions.c.user_id == row.id))
            self._audit.add("password changed", subject=row.name, within=connection)

    def end(self, name: str) -> None:
        """Let a user in no more, also a damaged one; sessions and tokens end, the name stays with what they did."""
        with self._writing.begin() as connection:
            row = self._row(connection, name, even_damaged=True)
            self._another_administrator(connection, row)
            now = self._now()
            change(connection, users, users.c.id == row.id, {"ended_at": now}, damaged=True)
            connection.execute(delete(sessions).where(sessions.c.user_id == row.id))
            still = and_(tokens.c.user_id == row.id, tokens.c.revoked_at.is_(None))
            change(connection, tokens, still, {"revoked_at": now}, damaged=True)
            self._audit.add("user ended", subject=row.name, within=connection)

    def password_hash(self, name: str) -> str | None:
        """The hash that a password of this user must match; None where there is no such user.

        Raises
        ------
        PlanError
            If what the database has of the user is not what was written.
        """
        with self._engine.begin() as connection:
            row = connection.execute(_named(rows(users), name).where(users.c.ended_at.is_(None))).first()
        if row is None:
            return None
        if not holds(users, row):
            raise PlanError([_damaged_user(row)])
        return str(row.password_hash)

    def matches(self, name: str, password: str) -> bool:
        """Whether this is the user's password."""
        held = self.password_hash(name)
        return held is not None and password_matches(password, held)

    # Sessions

    def sign_in(self, name: str, *, address: str, by: Mapping[str, str] | None = None) -> str:
        """A new session of a user who proved to be it; gives what the browser must show from now on.

        `by` says in the record who proved it, where it was not the password.
        """
        token, now = secrets.token_urlsafe(32), self._now()
        with self._writing.begin() as connection:
            row = self._row(connection, name)
            connection.execute(delete(sessions).where(sessions.c.ends_at <= now))
            values = {"began_at": now, "ends_at": now + timedelta(seconds=SESSION_S), "address": address}
            put(connection, sessions, {"token_hash": token_hash(token), "user_id": row.id, **values})
            self._audit.add("signed in", subject=row.name, body=by, who=row.name, within=connection)
        return token

    def of_session(self, token: str) -> Person | None:
        """Who is signed in with it; None where nobody is, it has ended, or its row or the user's is damaged."""
        with self._engine.begin() as connection:
            held = first(connection, sessions, rows(sessions).where(sessions.c.token_hash == token_hash(token)))
            if held is None or utc(held.ends_at) <= self._clock():
                return None
            user = self._in(connection, held.user_id)
        return user and Person(user.name, user.role, "session", user.id)

    def sign_out(self, token: str) -> None:
        """End one session."""
        with self._writing.begin() as connection:
            done = connection.execute(delete(sessions).where(sessions.c.token_hash == token_hash(token)))
            if done.rowcount:
                self._audit.add("signed out", within=connection)

    def sessions(self, user_id: int, *, here: str = "") -> tuple[Session, ...]:
        """Sessions of a user that have not ended, the newest first; `here` is what the asking browser shows."""
        mine = rows(sessions).where(sessions.c.user_id == user_id, sessions.c.ends_at > self._now())
        with self._engine.begin() as connection:
            found = connection.execute(mine.order_by(sessions.c.began_at.desc(), sessions.c.token_hash)).all()
        return tuple(
            Session(
                row.token_hash[:SESSION_ID_N],
                utc(row.began_at),
                utc(row.ends_at),
                row.address,
                row.token_hash == token_hash(here),
            )
            for row in found
            if holds(sessions, row)
        )

    def end_session(self, user_id: int, session_id: str) -> bool:
        """End one session of a user; whether there was one to end."""
        there = and_(sessions.c.user_id == user_id, func.substr(sessions.c.token_hash, 1, SESSION_ID_N) == session_id)
        with self._writing.begin() as connection:
            row = connection.execute(rows(sessions).where(there)).first()
            if row is not None:
                connection.execute(delete(sessions).where(sessions.c.token_hash == row.token_hash))
                told = {"began_at": f"{str(row.began_at)[:16]} UTC", "address": row.address}
                self._audit.add("session ended", body=told, within=connection)
        return row is not None

    def sign_out_everywhere(self, user_id: int) -> None:
        """End every session of a user."""
        with self._writing.begin() as connection:
            done = connection.execute(delete(sessions).where(sessions.c.user_id == user_id))
            self._audit.add("signed out everywhere", body={"sessions": done.rowcount}, within=connection)

    # Tokens

    def add_token(self, user_id: int, *, label: str, scope: str, days: int | None = None) -> str:
        """A new token of a user; shown once, for only its hash is kept.

        Raises
        ------
        PlanError
            If it has no label, another scope than there is, lasts too long, or the user has too many.
        """
        label, problems = " ".join(label.split())[:LONGEST_PERSON_N], []
        if not label:
            problems.append(Problem("label", "a token needs a label", "what uses it", code="token-label-missing"))
        if scope not in SCOPES:
            expected = " or ".join(SCOPES)
            problems.append(Problem("scope", f"cannot be {scope[:40]!r}", expected, code="token-scope-unknown"))
        if days is not None and not 1 <= days <= LONGEST_TOKEN_DAYS:
            expected = f"1 to {LONGEST_TOKEN_DAYS} days, or none for no end"
            problems.append(Problem("days", f"cannot be {days}", expected, code="out-of-range", fields=("days",)))
        if problems:
            raise PlanError(problems)
        token, now = secrets.token_urlsafe(32), self._now()
        with self._writing.begin() as connection:
            mine = and_(tokens.c.user_id == user_id, tokens.c.revoked_at.is_(None))
            if connection.execute(select(func.count()).select_from(tokens).where(mine)).scalar_one() >= MOST_TOKENS:
                what = f"there are {MOST_TOKENS} tokens already"
                raise PlanError([Problem("label", what, "one of them revoked first", code="too-many-tokens")])
            ends_at = None if days is None else now + timedelta(days=days)
            values = {"user_id": user_id, "label": label, "scope": scope, "made_at": now, "ends_at": ends_at}
            put(connection, tokens, {"token_hash": token_hash(token), **values})
            self._audit.add("token made", subject=label, body={"scope": scope, "days": days}, within=connection)
        return token

    def of_token(self, token: str) -> Person | None:
        """Whose token it is; None where it is none, has ended, or its row or the user's is damaged."""
        with self._engine.begin() as connection:
            held = first(connection, tokens, rows(tokens).where(tokens.c.token_hash == token_hash(token)))
            if held is None or held.revoked_at is not None:
                return None
            if held.ends_at is not None and utc(held.ends_at) <= self._clock():
                return None
            user = self._in(connection, held.user_id)
        return user and Person(user.name, user.role, "token", user.id, held.scope)

    def tokens(self, user_id: int | None = None) -> tuple[Token, ...]:
        """Tokens of a user, or all, the newest first."""
        query = rows(tokens).order_by(tokens.c.id.desc())
        if user_id is not None:
            query = query.where(tokens.c.user_id == user_id)
        with self._engine.begin() as connection:
            names = {row.id: row.name for row in connection.execute(select(users.c.id, users.c.name))}
            return tuple(_token(row, str(names.get(row.user_id, ""))) for row in connection.execute(query))

    def revoke(self, token_id: int, *, user_id: int | None = None) -> bool:
        """End a token, of one user where given; whether there was one to end."""
        there = and_(tokens.c.id == token_id, tokens.c.revoked_at.is_(None))
        if user_id is not None:
            there = and_(there, tokens.c.user_id == user_id)
        with self._writing.begin() as connection:
            done = change(connection, tokens, there, {"revoked_at": self._now()}, damaged=True) == 1
            if done:
                self._audit.add("token revoked", subject=str(token_id), within=connection)
        return done

    # Inside

    def _now(self) -> datetime:
        return self._clock().astimezone(UTC).replace(tzinfo=None)

    def _in(self, connection: Connection, user_id: int) -> Row[Any] | None:
        """A user who may come in, by number."""
        return first(connection, users, rows(users).where(users.c.id == user_id, users.c.ended_at.is_(None)))

    def _row(self, connection: Connection, name: str, *, even_damaged: bool = False) -> Row[Any]:
        """A user who may come in."""
        row = connection.execute(_named(rows(users), name).where(users.c.ended_at.is_(None))).first()
        if row is None:
            expected = "one of those that `python -m webapp user list` shows"
            raise PlanError([Problem("name", f"there is no user {name[:60]}", expected, code="user-unknown")])
        if not even_damaged and not holds(users, row):
            raise PlanError([_damaged_user(row)])
        return row

    def _another_administrator(self, connection: Connection, row: Row[Any]) -> None:
        """Refuse to take the last administrator away."""
        others = and_(users.c.role == "administrator", users.c.ended_at.is_(None), users.c.id != row.id)
        if row.role == "administrator" and connection.execute(select(users.c.id).where(others)).first() is None:
            what = f"{row.name} is the last administrator"
            raise PlanError([Problem("name", what, "another administrator first", code="last-administrator")])


def _named(query: Select[Any], name: str) -> Select[Any]:
    """The users of a name; first the one whose key was made before ways to write one letter counted as one."""
    before = " ".join(name.split()).casefold()
    return query.where(users.c.key.in_({name_key(name), before})).order_by((users.c.key == before).desc())


def _role_problems(role: str) -> list[Problem]:
    if role in ROLES:
        return []
    return [Problem("role", f"cannot be {role[:40]!r}", ", ".join(ROLES), code="role-unknown", fields=("role",))]


def _damaged_user(row: Row[Any]) -> Problem:
    """That nobody comes in by a row."""
    helps = "an administrator who ends this user and makes another: python -m webapp user end, user add"
    return damaged(f"user {row.name}", helps=helps, values={"user": str(row.name)})


def _user(row: Row[Any]) -> User:
    sound = holds(users, row)
    return User(row.id, str(row.name), str(row.role), utc_or_none(row.made_at), utc_or_none(row.ended_at), not sound)


def _token(row: Row[Any], name: str) -> Token:
    """Its record; of a damaged one, what can be shown."""
    return Token(
        row.id, name, str(row.label), str(row.scope), utc_or_none(row.made_at), utc_or_none(row.ends_at),
        utc_or_none(row.revoked_at), not holds(tokens, row),
    )  # fmt: skip
