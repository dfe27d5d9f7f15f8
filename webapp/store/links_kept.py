"""Technicians' links as the office knows them: made by whom, for what, until when, withdrawn or not."""

import secrets
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from sqlalchemy import ColumnElement, Engine, Row, and_, select
from sqlalchemy.engine import Connection

from webapp.store.audit import ACTING, Audit
from webapp.store.schema import audit as audit_lines, links
from webapp.store.seals import change, holds, put, rows, utc, utc_or_none

TRIED = "withdrawn link opened"

Means = Literal["link page", "work packet"]
"""What makes links."""


@dataclass(frozen=True, slots=True)
class KeptLink:
    """One link."""

    id: str
    network_id: int
    site_id: str
    revision: int
    made_at: datetime
    made_by: str
    ends_at: datetime
    withdrawn_at: datetime | None
    made_with: str
    """One of `Means`; empty where nobody wrote it down."""
    withdrawn_by: str
    damaged: bool = False
    """Whether its row is not what was written: then nothing of it is to be believed, and it opens nothing."""

    def opens(self, revision: int) -> bool:
        """Whether it is one of a revision and was not withdrawn."""
        return self.revision == revision and self.withdrawn_at is None and not self.damaged


class Links:
    """The links in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime], audit: Audit) -> None:
        self._engine, self._clock, self._audit = engine, clock, audit

    def add(
        self, network_id: int, *, site_id: str, revision: int, ends_at: datetime, made_with: Means, made_by: str = ""
    ) -> KeptLink:
        """Write down a link that is being made; its id goes into what is signed."""
        made = self.drawn(
            network_id, site_id=site_id, revision=revision, ends_at=ends_at, made_with=made_with, made_by=made_by
        )
        with self._engine.execution_options(writes=True).begin() as connection:
            self._put(connection, made)
        found = self.find(made.id)
        assert found is not None
        return found

    def drawn(
        self, network_id: int, *, site_id: str, revision: int, ends_at: datetime, made_with: Means, made_by: str = ""
    ) -> KeptLink:
        """A link that is written down nowhere, and opens nothing until `add_all` does."""
        return KeptLink(
            secrets.token_urlsafe(6), network_id, site_id, revision, self._now(), ACTING.get().who or made_by,
            ends_at.astimezone(UTC), None, made_with, "",
        )  # fmt: skip

    def add_all(self, drawn: Sequence[KeptLink], *, about: timedelta) -> bool:
        """Write down drawn links, all or none: none where one of them was given by somebody else in the meantime.

        Parameters
        ----------
        drawn : sequence of KeptLink
            Of one network.
        about : timedelta
            Links of one site and revision that end so near each other count as one.

        Returns
        -------
        bool
            Whether they are written down; if not, what holds them is to be made anew, with those that are there.
        """
        if not drawn:
            return True
        with self._engine.execution_options(writes=True).begin() as connection:
            there = [
                _link(row) for row in connection.execute(rows(links).where(links.c.network_id == drawn[0].network_id))
            ]
            for one in drawn:
                if any(
                    other.opens(one.revision)
                    and other.site_id == one.site_id
                    and abs(other.ends_at - one.ends_at) <= about
                    for other in there
                ):
                    return False
            for one in drawn:
                self._put(connection, one)
        return True

    def _put(self, connection: Connection, made: KeptLink) -> None:
        """Write down a link, and that it was made."""
        values = {
            "id": made.id,
            "network_id": made.network_id,
            "site_id": made.site_id,
            "revision": made.revision,
            "made_at": made.made_at.replace(tzinfo=None),
            "made_by": made.made_by,
            "made_with": made.made_with,
            "ends_at": made.ends_at.replace(tzinfo=None),
        }
        put(connection, links, values)
        told = {
            "link": made.id,
            "revision": made.revision,
            "ends_at": f"{made.ends_at:%Y-%m-%d %H:%M} UTC",
            "with": made.made_with,
        }
        self._audit.add(
            "link made",
            subject=made.site_id,
            network_id=made.network_id,
            body=told,
            who=made.made_by,
            within=connection,
        )

    def of(self, network_id: int) -> tuple[KeptLink, ...]:
        """Links of a network that have not ended, withdrawn ones too, the newest first; damaged ones last."""
        now = self._now()
        found = [one for one in self._all(links.c.network_id == network_id) if one.damaged or one.ends_at > now]
        return tuple(sorted(found, key=lambda one: (one.damaged, -one.made_at.timestamp(), one.id)))

    def open_by(self, name: str) -> tuple[KeptLink, ...]:
        """Links of every network that a person made and that still open something."""
        found = self._all(links.c.made_by == name)
        now = self._now()
        return tuple(one for one in found if one.withdrawn_at is None and not one.damaged and one.ends_at > now)

    def find(self, link_id: str) -> KeptLink | None:
        """One link, ended, withdrawn and damaged ones too."""
        return next(self._all(links.c.id == link_id), None)

    def _all(self, wanted: ColumnElement[bool]) -> Iterator[KeptLink]:
        """Links, in no order."""
        with self._engine.begin() as connection:
            found = connection.execute(rows(links).where(wanted)).all()
        return (_link(row) for row in found)

    def withdraw(self, network_id: int, link_id: str) -> bool:
        """Let a link open nothing from now on; whether there was one to withdraw."""
        there = and_(links.c.id == link_id, links.c.network_id == network_id, links.c.withdrawn_at.is_(None))
        values = {"withdrawn_at": self._clock().astimezone(UTC).replace(tzinfo=None), "withdrawn_by": ACTING.get().who}
        with self._engine.execution_options(writes=True).begin() as connection:
            done = change(connection, links, there, values, damaged=True) == 1
            if done:
                self._audit.add("link withdrawn", subject=link_id, network_id=network_id, within=connection)
        return done

    def tried(self, link: KeptLink) -> None:
        """Note, once, that somebody opened a link that was withdrawn."""
        with self._engine.execution_options(writes=True).begin() as connection:
            known = select(audit_lines.c.id).where(
                audit_lines.c.action == TRIED,
                audit_lines.c.network_id == link.network_id,
                audit_lines.c.subject == link.id,
            )
            if connection.execute(known.limit(1)).first() is None:
                told = {"site": link.site_id, "revision": link.revision}
                self._audit.add(TRIED, subject=link.id, network_id=link.network_id, body=told, within=connection)

    def _now(self) -> datetime:
        return self._clock().astimezone(UTC)


_LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)


def _link(row: Row[Any]) -> KeptLink:
    """The record of a row; of one that does not hold, what can be shown of it."""
    if holds(links, row):
        return KeptLink(
            row.id, row.network_id, row.site_id, row.revision, utc(row.made_at), row.made_by, utc(row.ends_at),
            utc_or_none(row.withdrawn_at), row.made_with or "", row.withdrawn_by or "",
        )  # fmt: skip
    return KeptLink(
        str(row.id), row.network_id, str(row.site_id), 0, utc_or_none(row.made_at) or _LONG_AGO, str(row.made_by),
        utc_or_none(row.ends_at) or _LONG_AGO, utc_or_none(row.withdrawn_at), str(row.made_with or ""),
        str(row.withdrawn_by or ""), damaged=True,
    )  # fmt: skip
