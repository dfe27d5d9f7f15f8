"""Where others find this application: what goes into QR codes, sheets and links. Never what a request calls it."""

from webapp.config.addresses import outside
from webapp.config.settings import Settings


def public_address(settings: Settings, address: str) -> str:
    """A page's address as others reach it; empty where the application has no public one."""
    return outside(settings.public_url, address) if settings.public_url else ""
