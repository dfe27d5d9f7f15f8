"""Names that people tell sites apart by, and characters that nobody sees."""

import unicodedata
from collections.abc import Iterator
from typing import Any

from sfn.check.chains import touches_of, users_of
from sfn.errors import Problem, Touch
from sfn.plan import Network
from sfn.plan.record import Record
from sfn.visible import TURNING

# Entries of more than one line.
LONG = (
    "notes",
    "note",
    "stream_plan",
    "mast",
    "without_reference",
    "measured_with",
    "rollback_deadline",
    "mutes",
    "change_window",
    "source",
)


def word_problems(network: Network) -> tuple[Problem, ...]:
    """Names that are blank or given twice, and control characters anywhere.

    Parameters
    ----------
    network : Network

    Returns
    -------
    problems : tuple of Problem
        Warnings.
    """
    return (*_names(network), *_controls(network))


def _names(network: Network) -> Iterator[Problem]:
    """Sites that a technician cannot tell apart by name; ids stand beside names on every sheet."""
    alike: dict[str, list[int]] = {}
    for n, site in enumerate(network.sites):
        alike.setdefault(" ".join(site.name.split()).casefold(), []).append(n)
    for said, places in alike.items():
        sites = [network.sites[n] for n in places]
        touches, ids = tuple(Touch(site.id) for site in sites), ", ".join(site.id for site in sites)
        where = f"sites[{places[-1]}].name"
        if not said:
            what = f"the name of site {ids} is blank"
            yield Problem(
                where,
                what,
                "a name for people",
                "warning",
                code="name-blank",
                touches=touches,
                stages=(),
                fields=("name",),
                said={"ids": ids},
            )
        elif len(places) > 1:
            what = f"{len(places)} sites are called {sites[0].name}: {ids}"
            yield Problem(
                where,
                what,
                "a name of its own",
                "warning",
                code="name-duplicate",
                touches=touches,
                stages=(),
                fields=("name",),
                said={"alike_n": len(places), "name": str(sites[0].name), "ids": ids},
            )


def _controls(network: Network) -> Iterator[Problem]:
    """Control characters in any text, at its place."""
    users = users_of(network)
    about = network.model_copy(update={"sites": (), "stages": ()})
    yield from _unseen(about, "", (), ())
    for n, stage in enumerate(network.stages):
        yield from _unseen(stage, f"stages[{n}]", touches_of(users[stage.id]), (stage.id,))
    for n, site in enumerate(network.sites):
        yield from _unseen(site, f"sites[{n}]", (Touch(site.id),), ())


def _unseen(record: Record, where: str, touches: tuple[Touch, ...], stages: tuple[str, ...]) -> Iterator[Problem]:
    """Control characters in the texts of one record of the document."""
    for place, key, text in _texts(record.model_dump(mode="json", exclude_none=True), where, ""):
        found = [c for c in text if c in TURNING or (unicodedata.category(c) == "Cc" and not _lines(c, key))]
        if found:
            shown = ", ".join(dict.fromkeys(f"U+{ord(c):04X}" for c in found))
            what = f"{text!r} holds characters that nobody sees ({shown})"
            expected = "the same text typed anew"
            yield Problem(
                place,
                what,
                expected,
                "warning",
                code="control-characters",
                touches=touches,
                stages=stages,
                fields=(key,),
                said={"text": repr(text), "shown": shown},
            )


def _lines(character: str, key: str) -> bool:
    """Whether it only breaks or indents the lines of a long text."""
    return character in "\n\r\t" and key in LONG


def _texts(tree: Any, where: str, key: str) -> Iterator[tuple[str, str, str]]:
    """Every text of a document: place, key, text; keys that people choose (names of fields) are texts too."""
    if isinstance(tree, str):
        yield where, key, tree
    elif isinstance(tree, dict):
        for name, value in tree.items():
            place = f"{where}.{name}" if where else name
            if key == "set":
                yield where, key, name
            yield from _texts(value, place, name)
    elif isinstance(tree, list):
        for n, value in enumerate(tree):
            yield from _texts(value, f"{where}[{n}]", key)
