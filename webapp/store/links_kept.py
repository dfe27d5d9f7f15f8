"""Technicians' links as the office knows them: made by whom, for what, until when, withdrawn or not."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from sqlalchemy import Engine, Row, and_, insert, select, update

from webapp.store.audit import ACTING, Audit
from webapp.store.schema import audit as audit_lines, links

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

    def opens(self, revision: int) -> bool:
        """Whether it is one of a revision and was not withdrawn."""
        return self.revision == revision and self.withdrawn_at is None


class Links:
    """The links in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime], audit: Audit) -> None:
        self._engine, self._clock, self._audit = engine, clock, audit

    def add(
        self, network_id: int, *, site_id: str, revision: int, ends_at: datetime, made_with: Means, made_by: str = ""
    ) -> KeptLink:
        """Write down a link that is being made; its id goes into what is signed."""
        link_id = secrets.token_urlsafe(6)
        values = {
            "network_id": network_id,
            "site_id": site_id,
            "revision": revision,
            "made_at": self._now(),
            "made_by": ACTING.get().who or made_by,
            "made_with": made_with,
            "ends_at": ends_at.astimezone(UTC).replace(tzinfo=None),
        }
        with self._engine.execution_options(writes=True).begin() as connection:
            connection.execute(insert(links).values(id=link_id, **values))
            told = {
                "link": link_id,
                "revision": revision,
                "ends_at": f"{ends_at:%Y-%m-%d %H:%M} UTC",
                "with": made_with,
            }
            self._audit.add(
                "link made", subject=site_id, network_id=network_id, body=told, who=made_by, within=connection
            )
        found = self.find(link_id)
        assert found is not None
        return found

    def of(self, network_id: int) -> tuple[KeptLink, ...]:
        """Links of a network that have not ended, withdrawn ones too, the newest first."""
        query = select(links).where(links.c.network_id == network_id, links.c.ends_at > self._now())
        with self._engine.begin() as connection:
            return tuple(_link(row) for row in connection.execute(query.order_by(links.c.made_at.desc(), links.c.id)))

    def open_by(self, name: str) -> tuple[KeptLink, ...]:
        """Links of every network that a person made and that still open something."""
        still = and_(links.c.made_by == name, links.c.ends_at > self._now(), links.c.withdrawn_at.is_(None))
        with self._engine.begin() as connection:
            return tuple(_link(row) for row in connection.execute(select(links).where(still)))

    def find(self, link_id: str) -> KeptLink | None:
        """One link, ended or withdrawn ones too."""
        with self._engine.begin() as connection:
            row = connection.execute(select(links).where(links.c.id == link_id)).first()
        return None if row is None else _link(row)

    def withdraw(self, network_id: int, link_id: str) -> bool:
        """Let a link open nothing from now on; whether there was one to withdraw."""
        there = and_(links.c.id == link_id, links.c.network_id == network_id, links.c.withdrawn_at.is_(None))
        values = {"withdrawn_at": self._now(), "withdrawn_by": ACTING.get().who}
        with self._engine.execution_options(writes=True).begin() as connection:
            done = connection.execute(update(links).where(there).values(**values)).rowcount == 1
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
        return self._clock().astimezone(UTC).replace(tzinfo=None)


def _link(row: Row[Any]) -> KeptLink:
    """The record of a row."""
    return KeptLink(
        row.id, row.network_id, row.site_id, row.revision, row.made_at.replace(tzinfo=UTC), row.made_by,
        row.ends_at.replace(tzinfo=UTC), row.withdrawn_at and row.withdrawn_at.replace(tzinfo=UTC),
        row.made_with or "", row.withdrawn_by or "",
    )  # fmt: skip
