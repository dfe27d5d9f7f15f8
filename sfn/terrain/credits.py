"""Whose data lie in a folder, or in a file: the words that their licence asks for, wherever they are shown.

They stand in ``sources.json`` beside a folder's files (``{"credits": ["..."], "files": {"a.tif": {"source",
"fetched", "sha256"}}}``), and in ``NAME.sources.json`` beside a file that stands among others.
"""

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.in_one_step import in_one_step
from sfn.plan import Network
from sfn.units import counted

SOURCES_FILE = "sources.json"
LONGEST_N = 500
MOST_N = 20


def credits_of(folder: Path) -> tuple[str, ...]:
    """The words for a folder's files; none where it says nothing, or cannot be read."""
    return _texts(_held(folder / SOURCES_FILE).get("credits"))


def credits_of_file(path: Path) -> tuple[str, ...]:
    """The words for one file."""
    return _texts(_held(sources_beside(path)).get("credits"))


def sources_beside(path: Path) -> Path:
    """Where it stands whose data a file is."""
    return path.with_name(f"{path.name}.{SOURCES_FILE}")


def network_credits(network: Network, *, folder: Path, anywhere: bool = False) -> tuple[str, ...]:
    """The words for all that a network's document names: terrain, cover, zones, people.

    Parameters
    ----------
    network : Network
    folder : Path
        Folder that names are looked up in.
    anywhere : bool
        Whether they may also lead out of it.
    """
    parts = (network.terrain, network.cover, network.zones)
    named = [(part.folder, SOURCES_FILE) for part in parts if part is not None and part.folder is not None]
    if network.listeners is not None and network.listeners.file is not None:
        named.append((f"{network.listeners.file}.{SOURCES_FILE}", ""))
    places = [(folder / name / beside).resolve() for name, beside in named]
    mine = [place for place in places if anywhere or place.is_relative_to(folder.resolve())]
    return tuple(dict.fromkeys(said for place in mine for said in _texts(_held(place).get("credits"))))


def credits_say(said: Iterable[str]) -> str:
    """The words in a sentence; empty where there are none."""
    every = tuple(dict.fromkeys(said))
    return f"Data: {'; '.join(every)}" if every else ""


def credits_typed(text: str) -> tuple[str, ...]:
    r"""The words that somebody types beside files that they send, one credit a line.

    Parameters
    ----------
    text : str

    Raises
    ------
    PlanError
        If there are more lines, or longer ones, than are shown.

    Examples
    --------
    >>> credits_typed("Heights: Survey of Elmland, licence A\n\n  Cover: Woods Office ")
    ('Heights: Survey of Elmland, licence A', 'Cover: Woods Office')
    """
    said = tuple(dict.fromkeys(line.strip() for line in text.splitlines() if line.strip()))
    longest = max(map(len, said), default=0)
    if len(said) > MOST_N or longest > LONGEST_N:
        what = f"have {counted(len(said), 'line')}, the longest of {longest} characters"
        expected = f"{MOST_N} lines of {LONGEST_N} characters at most, for they stand under every map"
        raise PlanError([Problem("credits", what, expected, code="text-too-long", fields=("credits",))])
    return said


def keep_credits(folder: Path, said: Iterable[str], files: Mapping[str, Mapping[str, Any]]) -> None:
    """Keep whose data a folder's files are, besides what it says of others already."""
    held = _held(folder / SOURCES_FILE)
    kept = held.get("files")
    every = dict.fromkeys((*_texts(held.get("credits")), *said))
    _write(folder / SOURCES_FILE, list(every), (kept if isinstance(kept, dict) else {}) | dict(files))


def keep_file_credits(path: Path, said: Iterable[str], files: Mapping[str, Mapping[str, Any]]) -> None:
    """Keep whose data one file is, and of which files it was made."""
    _write(sources_beside(path), list(said), dict(files))


def _write(path: Path, said: list[str], files: Mapping[str, Any]) -> None:
    """Both as one file."""
    text = json.dumps({"credits": said, "files": files}, indent=1, ensure_ascii=False)
    with in_one_step(path) as fresh:
        fresh.write_text(text + "\n", encoding="utf-8")


def _held(path: Path) -> dict[str, Any]:
    """What is said there."""
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return held if isinstance(held, dict) else {}


def _texts(said: Any) -> tuple[str, ...]:
    """Those of a list that are texts; what is too long, or too many, ends with a remark that there is more."""
    every = [one for one in said if isinstance(one, str) and one] if isinstance(said, list) else []
    shown = [one if len(one) <= LONGEST_N else f"{one[:LONGEST_N]}… (cut here)" for one in every[:MOST_N]]
    if more_n := len(every) - MOST_N:
        shown += [f"and {more_n} more in {SOURCES_FILE}"] if more_n > 0 else []
    return tuple(shown)
