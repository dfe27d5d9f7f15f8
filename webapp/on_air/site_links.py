"""Signed, expiring links: one network, one site, one revision, and nothing else.

The signature is the permission; the office lists the links it gave and may withdraw each (`webapp.store.links_kept`).
"""

import math
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from itsdangerous import BadSignature, URLSafeTimedSerializer

from sfn.errors import Problem
from webapp.shell.problems import RefusedError
from webapp.store.links_kept import KeptLink, Links, Means

_SALT = "readings at one site"  # a session cookie is no link, and a link is no session
USUAL_DAYS = 14
MOST_DAYS = 92
_ABOUT = timedelta(days=1)
_NEW_ONE = "a new one from the control room; what you typed is still kept"


@dataclass(frozen=True, slots=True)
class SiteLink:
    """What a link lets one see and send."""

    network_id: int
    site_id: str
    revision: int
    ends_at: datetime
    id: str = ""
    """Under which the office lists and withdraws it; empty for a link from before there were lists."""


def made_link(session_key: str, *, network_id: int, site_id: str, revision: int, days: int, link_id: str = "") -> str:
    """The signed part of a link's address; good for `days` from now, unless the office withdraws `link_id`."""
    checked_days(days)
    said = [network_id, site_id, revision, days]
    return str(_signer(session_key).dumps([*said, link_id] if link_id else said))


def given_link(links: Links, *, network_id: int, site_id: str, revision: int) -> KeptLink | None:
    """The link of a site that the office gave last and did not withdraw; else the last withdrawn; None where none is.

    Of all that have not ended. Looking makes none: `kept_link` and `Links.add` do.
    """
    same = [one for one in links.of(network_id) if (one.site_id, one.revision) == (site_id, revision)]
    return next((one for one in same if one.withdrawn_at is None), same[0] if same else None)


@dataclass(frozen=True, slots=True)
class Packing:
    """Links of a packet that is being made: a new one opens nothing until the packet is there."""

    days: int
    """How long new ones last."""
    made_with: Means = "work packet"
    drawn: list[KeptLink] = field(default_factory=list)
    """New ones, written down nowhere."""

    def given_out(self, links: Links) -> bool:
        """Let the new ones open their sites; False where another packet's were given meanwhile: then this is old."""
        return links.add_all(self.drawn, about=_ABOUT)


def kept_link(links: Links, *, network_id: int, site_id: str, revision: int, packing: Packing) -> KeptLink:
    """The link that the office gave for this site and revision and that lasts about as long; else one that is drawn.

    A withdrawn one stays withdrawn: the next is only made when it is asked for (`Links.add`).
    """
    checked_days(days := packing.days)
    now = datetime.now(UTC)
    asked = now + timedelta(days=days)
    same = [one for one in links.of(network_id) if (one.site_id, one.revision) == (site_id, revision)]
    if same and same[0].withdrawn_at is not None:
        return same[0]
    found = next((one for one in same if one.withdrawn_at is None and abs(asked - one.ends_at) <= _ABOUT), None)
    if found is None:
        found = links.drawn(network_id, site_id=site_id, revision=revision, ends_at=asked, made_with=packing.made_with)
        packing.drawn.append(found)
    return found


def token_of(session_key: str, link: KeptLink) -> str:
    """The signed part of the address of a link that the office keeps; ends when it ends."""
    left = math.ceil((link.ends_at - datetime.now(UTC)) / timedelta(days=1))
    return made_link(
        session_key, network_id=link.network_id, site_id=link.site_id, revision=link.revision, days=left,
        link_id=link.id,
    )  # fmt: skip


def open_link(links: Links, session_key: str, token: str) -> SiteLink:
    """What a link is for, now.

    Raises
    ------
    RefusedError
        404 if it was not signed here, 410 if its time is over, the office withdrew it or has it not.
    """
    link = read_link(session_key, token)
    if not link.id:  # from before they were listed
        return link
    kept = links.find(link.id)
    if kept is None:  # given after the backup that this store was restored from: nobody could withdraw it
        what = "the control room has no such link: it was given before an older state was restored"
        raise RefusedError(410, Problem("link", what, _NEW_ONE, code="link-unknown"))
    if kept.damaged or (kept.network_id, kept.site_id, kept.revision) != (link.network_id, link.site_id, link.revision):
        what = "what the control room has of this link is damaged: it may have been withdrawn"
        raise RefusedError(410, Problem("link", what, _NEW_ONE, code="link-damaged"))
    if kept.withdrawn_at is not None:
        links.tried(kept)
        at = f"{kept.withdrawn_at:%Y-%m-%d %H:%M}"
        what = f"this link was withdrawn on {at} UTC"
    elif datetime.now(UTC) > kept.ends_at:
        at = f"{kept.ends_at:%Y-%m-%d %H:%M}"
        what = f"this link ended on {at} UTC"
    else:
        return replace(link, ends_at=min(link.ends_at, kept.ends_at))
    raise RefusedError(410, Problem("link", what, _NEW_ONE, code="link-ended", values={"at": at}))


def checked_days(days: int) -> None:
    """Refuse a time that no link lasts."""
    if not 1 <= days <= MOST_DAYS:
        raise RefusedError(
            422,
            Problem(
                "days",
                f"a link cannot last {days} days",
                f"1 to {MOST_DAYS} days",
                code="out-of-range",
                fields=("days",),
            ),
        )


def read_link(session_key: str, token: str, *, now: datetime | None = None) -> SiteLink:
    """What a link is for.

    Raises
    ------
    RefusedError
        404 if it was not signed here, 410 if its time is over.
    """
    try:
        said, signed_at = _signer(session_key).loads(token, return_timestamp=True)
        network_id, site_id, revision, days, *rest = said
    except (BadSignature, ValueError, TypeError):
        raise RefusedError(
            404,
            Problem(
                "link",
                "this is no link of ours, or it was cut off",
                "the whole link; the control room has it",
                code="link-unreadable",
            ),
        ) from None
    ends_at = signed_at.astimezone(UTC) + timedelta(days=days)
    if (now or datetime.now(UTC)) > ends_at:
        at = f"{ends_at:%Y-%m-%d %H:%M}"
        raise RefusedError(
            410,
            Problem("link", f"this link ended on {at} UTC", _NEW_ONE, code="link-ended", values={"at": at}),
        )
    return SiteLink(network_id, site_id, revision, ends_at, str(rest[0]) if rest else "")


def _signer(session_key: str) -> URLSafeTimedSerializer:
    """The signer."""
    return URLSafeTimedSerializer(session_key, salt=_SALT)
