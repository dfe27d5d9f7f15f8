"""Addresses of the change plan and of the change under way."""

from urllib.parse import urlencode


def change_levels(network_id: int) -> str:
    """Works out the field strengths that the change plan shows its worst moment with."""
    return f"/networks/{network_id}/change/levels"


def change_live(network_id: int) -> str:
    """The change under way."""
    return f"/networks/{network_id}/change/live"


def change_begin(network_id: int) -> str:
    """Begins a change."""
    return f"/networks/{network_id}/change/confirm/begin"


def change_step(network_id: int) -> str:
    """Takes what a site said on a call."""
    return f"/networks/{network_id}/change/confirm/step"


def change_back(network_id: int) -> str:
    """Orders everything back."""
    return f"/networks/{network_id}/change/confirm/back"


def change_end(network_id: int) -> str:
    """Ends a change."""
    return f"/networks/{network_id}/change/confirm/end"


def change_approve(network_id: int) -> str:
    """Approves the change plan."""
    return f"/networks/{network_id}/change/approve"


def change(network_id: int, against: int | None = None) -> str:
    """The change plan, against an older revision or what is set now."""
    return f"/networks/{network_id}/change" + ("" if against is None else f"?{urlencode({'against': against})}")
