"""Ground out of open data for a network: what was made under which name, and making it in a job.

```
terrain/NAME heights, NAME cover, NAME zones    folders like those of files that were sent
terrain/people-GHS-POP-2020-DIGEST.tif          and the table of places: like files of people that were sent
terrain/.country/NAME.json                      what of it a network names, what was said, what did not come
country/SET/FILE                                the tiles as they came
```
"""

import json
import os
import re
import secrets
import shutil
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sfn
from sfn.country.kept import kept
from sfn.country.made import Made, document_keys
from sfn.country.shelf import FOLDER, Shelf, digest, now
from sfn.country.sources import Sources
from sfn.errors import PlanError, Problem, Severity
from sfn.geodesy.position import Located
from sfn.in_one_step import in_one_step
from sfn.study.country import Country, Offer, get
from sfn.terrain.credits import SOURCES_FILE, sources_beside
from webapp.work.jobs import CancelledError, Progress
from webapp.work.people import DIGEST_N, PREFIX
from webapp.work.progress import STOPPED_KEPT
from webapp.work.terrains import ARRIVING, FOLDER_NAME

KEPT = ".country"
PARTS = ("heights", "cover", "zones")
LONGEST_NAME_N = 60 - max(len(part) + 1 for part in PARTS)


@dataclass(frozen=True, slots=True)
class MadeCountry:
    """Ground that was made under a name."""

    name: str
    day: str
    """On which it was made."""
    keys: Mapping[str, Any]
    """What a document says to stand on it."""
    says: tuple[str, ...]
    """What was done and assumed."""
    credits: tuple[str, ...]
    """Whose data they are, to be shown with all that rests on them."""
    problems: tuple[Problem, ...]
    """What did not come, and sites that stand at sea."""
    fetched_n: int
    """Files that came over the net."""
    sea_n: int
    """Files that the sources do not have."""


def shelf_of(data_folder: Path) -> Shelf:
    """Where an installation keeps its tiles."""
    return Shelf(data_folder / FOLDER)


def usable_name(terrain_folder: Path, name: str) -> str:
    """The name, where folders of it can be made.

    Raises
    ------
    PlanError
        If it is too long or odd, or one of its folders holds something that was not made so.
    """
    expected = f"a name of up to {LONGEST_NAME_N} letters, digits, blanks, - and _ that no folder of yours begins with"
    foreign = [part for part in PARTS if _foreign(terrain_folder / f"{name} {part}")]
    if not FOLDER_NAME.fullmatch(name) or len(name) > LONGEST_NAME_N or foreign:
        what = f"{name} {foreign[0]} is a folder of other files" if foreign else f"cannot be {name!r}"
        raise PlanError([Problem("name", what, expected, code="name-unusable", fields=("name",))])
    return name


def usual_name(text: str) -> str:
    """A network's name in the letters that a folder may have."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9 _-]+", "", plain).strip(" _-")[:LONGEST_NAME_N].strip() or "country"


def made_under(terrain_folder: Path, name: str) -> MadeCountry | None:
    """What was made under a name; None where nothing was, or it cannot be read."""
    if not FOLDER_NAME.fullmatch(name):
        return None
    try:
        held = json.loads((terrain_folder / KEPT / f"{name}.json").read_text(encoding="utf-8"))
        problems = tuple(_problem(one) for one in held["problems"])
        return MadeCountry(
            name, str(held["day"]), dict(held["keys"]), tuple(map(str, held["says"])), tuple(map(str, held["credits"])),
            problems, int(held["fetched"]), int(held["sea"]),
        )  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError):
        return None


def names_made(terrain_folder: Path) -> tuple[str, ...]:
    """Names under which ground was made."""
    found = (path.stem for path in sorted((terrain_folder / KEPT).glob("*.json")))
    return tuple(name for name in found if FOLDER_NAME.fullmatch(name))


def make_country(
    terrain_folder: Path,
    name: str,
    offered: Offer,
    *,
    shelf: Shelf,
    sources: Sources,
    placed: Mapping[str, Located],
    progress: Progress,
) -> MadeCountry:
    """Fetch, make, and keep what was made under a name; the work of a job.

    Raises
    ------
    PlanError
        As `sfn.study.country.get`.
    """
    arriving = terrain_folder / f"{ARRIVING}{secrets.token_hex(8)}"

    def place(key: str) -> Path:
        """The folder of a part; files of people are put in their place when they are whole."""
        return terrain_folder / f"{name} {key}" if key in PARTS else arriving

    def tell(what: str, done: int, total: int) -> None:
        progress.tell(what, done=done, total=total)

    terrain_folder.mkdir(parents=True, exist_ok=True)
    try:
        found = get(
            offered, shelf=shelf, sources=sources, place=place, placed=placed, version=sfn.__version__, tell=tell
        )  # fmt: skip
        return _kept(terrain_folder, name, found)
    except CancelledError:
        expected = "the same asked for once more: what is here is not asked for again, what was begun is gone on with"
        what = f"what came is kept: {kept(offered.tiles, shelf).says}"
        raise CancelledError((Problem("country", what, expected, "warning", code=STOPPED_KEPT),)) from None
    finally:
        shutil.rmtree(arriving, ignore_errors=True)


def _kept(terrain_folder: Path, name: str, found: Country) -> MadeCountry:
    """Files of people under the digest of their content, and beside all of it what a network names."""
    files = {}
    for key, path in found.made.files.items():
        held = terrain_folder / f"{PREFIX}{path.stem}-{digest(path)[:DIGEST_N]}{path.suffix}"
        os.replace(path, held)
        os.replace(sources_beside(path), sources_beside(held))
        files[key] = held
    made = Made(found.made.folders, files, found.made.says)
    made_country = MadeCountry(
        name, now()[:10], document_keys(made, named=lambda path: path.name), made.says, found.credits,
        (*found.gathered.problems, *found.doubts), found.gathered.fetched_n, len(found.gathered.absent),
    )  # fmt: skip
    if made_country.keys:
        _write(terrain_folder, made_country)
    return made_country


def _write(terrain_folder: Path, made: MadeCountry) -> None:
    """Keep what a page says of it."""
    folder = terrain_folder / KEPT
    folder.mkdir(exist_ok=True)
    document = {
        "day": made.day, "keys": dict(made.keys), "says": made.says, "credits": made.credits,
        "problems": [one.as_json() for one in made.problems], "fetched": made.fetched_n, "sea": made.sea_n,
    }  # fmt: skip
    with in_one_step(folder / f"{made.name}.json") as fresh:
        fresh.write_text(json.dumps(document, ensure_ascii=False, indent=1), encoding="utf-8")


def _problem(kept: Mapping[str, Any]) -> Problem:
    """A problem as it was kept."""
    severity: Severity = "warning" if kept["severity"] == "warning" else "error"
    return Problem(str(kept["where"]), str(kept["what"]), str(kept["expected"]), severity, code=kept["code"])


def _foreign(folder: Path) -> bool:
    """Whether a folder is there and holds files that were not made so."""
    return folder.is_dir() and any(folder.iterdir()) and not (folder / SOURCES_FILE).is_file()
