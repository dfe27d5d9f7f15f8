"""Where others find this application: what goes into QR codes, sheets and links. Never a loopback address."""

from fastapi import Request

from webapp.config.settings import Settings, is_loopback


def public_base(request: Request, settings: Settings) -> str:
    """The address that others reach this application by, without the last slash; empty where there is none.

    The setting wins. Else the name under which it was asked for, if that is not this machine itself: host names that
    are not ours are refused before (`webapp.shell.security.HostCheck`).
    """
    if settings.public_url:
        return settings.public_url
    return "" if is_loopback(request.url.hostname or "localhost") else str(request.base_url).rstrip("/")


def public_address(request: Request, settings: Settings, path: str) -> str:
    """A page's address as others reach it; empty where the application has no public one."""
    base = public_base(request, settings)
    return base + path if base else ""
