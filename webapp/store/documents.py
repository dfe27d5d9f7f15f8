"""Documents on their way in and out: bytes to a checked document, a document to a file."""

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.plan import Network, read, read_document
from webapp.store.seals import digest_of


def parsed(content: bytes | str, *, source: str) -> dict[str, Any]:
    """The document in `content`, with its keys and numbers as they were written.

    Raises
    ------
    PlanError
        With every problem, each with `source` before its place.
    """
    try:
        read(content)
    except PlanError as refused:
        raise PlanError(replace(p, where=f"{source}: {p.where}") for p in refused.problems) from None
    text = content.decode("utf-8-sig") if isinstance(content, bytes) else content
    document: dict[str, Any] = json.loads(text)
    return document


def network_of(document: Mapping[str, Any], own_services: str) -> Network:
    """The engine's network of a document, under a user's file of services (its text; empty: the shipped ones alone).

    Raises
    ------
    PlanError
        With every problem and its place.
    """
    return read_document(document, own_services=own_services)


def unchanged(text: str, digest: str | None, *, network_id: int, number: int) -> dict[str, Any]:
    """The document of a text that is what was saved.

    Raises
    ------
    PlanError
        If it is another: one bit that a disk or a copy has turned is a wrong latency that looks like any.
    """
    if digest is not None and digest != digest_of(text):
        problem = Problem(
            f"network {network_id}, revision {number}",
            "its document is not what was saved: the database is damaged; nothing is shown or worked out from it",
            "the last backup (python -m webapp restore FILE --replace), or an older revision made the newest, under "
            f"Revisions (or POST /api/networks/{network_id}/restore)",
            code="store-damaged",
            values={"network": network_id, "revision": number},
        )
        raise PlanError([problem])
    document: dict[str, Any] = json.loads(text)
    return document


def as_text(document: Mapping[str, Any]) -> str:
    """The document as a file: readable, keys in the order they were typed."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"
