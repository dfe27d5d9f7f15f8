"""Addresses of what goes to paper: sheets, the head-end sheet, the change plan as PDF, the work packet."""

from urllib.parse import quote, urlencode


def change_pdf(network_id: int, paper: str) -> str:
    """The change plan as a PDF on ``a4`` or ``letter``."""
    return f"/networks/{network_id}/change.pdf?paper={paper}"


def packet(network_id: int) -> str:
    """The work packet: what keeps it back, or the way to it."""
    return f"/networks/{network_id}/packet"


def packet_pdf(network_id: int) -> str:
    """Change plan, sheets and signed links in one PDF."""
    return f"{packet(network_id)}.pdf"


def head_end(network_id: int) -> str:
    """Delays that are sent in the stream, for the head-end."""
    return f"/networks/{network_id}/head-end"


def head_end_pdf(network_id: int, paper: str) -> str:
    """The same as a PDF on ``a4`` or ``letter``."""
    return f"/networks/{network_id}/head-end.pdf?paper={paper}"


def sheets(network_id: int) -> str:
    """Every site's field sheet."""
    return f"/networks/{network_id}/sheets"


def sheet(network_id: int, site_id: str, revision: int | None = None) -> str:
    """One site's field sheet; with the revision that a copy of it was made of, so that an old copy is told."""
    made_of = "" if revision is None else f"?{urlencode({'revision': revision})}"
    return f"/networks/{network_id}/sheets/{quote(site_id, safe='')}{made_of}"


def sheet_pdf(network_id: int, site_id: str, paper: str) -> str:
    """The same as a PDF on ``a4`` or ``letter``."""
    return f"{sheet(network_id, site_id)}/sheet.pdf?paper={paper}"


def sheet_qr(network_id: int, site_id: str) -> str:
    """A QR code of the sheet's address."""
    return f"{sheet(network_id, site_id)}/qr.svg"


def sheets_issue(network_id: int) -> str:
    """Issues every sheet that may go out."""
    return f"{sheets(network_id)}/issue"


def sheet_sign(network_id: int, site_id: str) -> str:
    """Signs off what somebody may answer for."""
    return f"{sheet(network_id, site_id)}/sign"
