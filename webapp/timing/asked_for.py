"""What is kept of a search that was asked for, so that it can be started again: plain data."""

from typing import Any

from webapp.shell.dependencies import Opened


def asked_for(opened: Opened, typed: dict[str, str]) -> dict[str, Any]:
    """The network, in which revision, and what was typed."""
    revision = opened.head.revision
    return {"network": opened.head.id, "revision": revision.number, "checksum": revision.checksum, "typed": typed}
