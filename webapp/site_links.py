"""Signed, expiring links: one network, one site, one revision, and nothing else. The signature is the permission."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from itsdangerous import BadSignature, URLSafeTimedSerializer

from sfn.errors import Problem
from webapp.problems import RefusedError

_SALT = "readings at one site"  # a session cookie is no link, and a link is no session
USUAL_DAYS = 14
MOST_DAYS = 92


@dataclass(frozen=True, slots=True)
class SiteLink:
    """What a link lets one see and send."""

    network_id: int
    site_id: str
    revision: int
    ends_at: datetime


def made_link(session_key: str, *, network_id: int, site_id: str, revision: int, days: int) -> str:
    """The signed part of a link's address; good for `days` from now."""
    checked_days(days)
    return str(_signer(session_key).dumps([network_id, site_id, revision, days]))


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
        network_id, site_id, revision, days = said
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
        what = f"this link ended on {ends_at:%Y-%m-%d %H:%M} UTC"
        raise RefusedError(
            410,
            Problem("link", what, "a new one from the control room; what you typed is still kept", code="link-ended"),
        )
    return SiteLink(network_id, site_id, revision, ends_at)


def _signer(session_key: str) -> URLSafeTimedSerializer:
    """The signer."""
    return URLSafeTimedSerializer(session_key, salt=_SALT)
