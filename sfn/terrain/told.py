"""What somebody said of terrain files that do not say it themselves: unit of heights, coordinate system, and of what.

It stands beside the files in ``as-told.json``: ``{"files": {"a.tif": {"unit": "ft", "crs": "EPSG:2056"}}}``. What a
file says itself goes before it.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from pyproj import CRS
from pyproj.exceptions import CRSError

from sfn.errors import PlanError, Problem
from sfn.in_one_step import in_one_step

TOLD_FILE = "as-told.json"
# Metres to one unit. The foot of the United States' surveys is 1200/3937 m (NIST SP 811, B.6).
METRES: Mapping[str, float] = {"m": 1.0, "ft": 0.3048, "us-ft": 1200.0 / 3937.0}
_NAMES = {
    "m": {"m", "metre", "meter", "metres", "meters"},
    "ft": {"ft", "foot", "feet", "international foot", "international feet"},
    "us-ft": {"us survey foot", "us survey feet", "foot_us", "us-ft", "ussft", "us_survey_foot", "sft"},
}


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody said of a file; empty where nothing was said.

    Parameters
    ----------
    unit : {'', 'm', 'ft', 'us-ft'}
        Of its heights.
    crs : str
        Its coordinate system.
    surface : bool
        Its heights are those of treetops and roofs.
    """

    unit: str = ""
    crs: str = ""
    surface: bool = False


def unit_named(text: str) -> str | None:
    """The unit that a file's words mean: ``m``, ``ft`` or ``us-ft``; None when it is none of them."""
    return next((unit for unit, names in _NAMES.items() if text.strip().lower() in names), None)


def told(unit: str, crs: str, *, surface: bool = False) -> Told:
    """What a form says.

    Raises
    ------
    PlanError
        If the unit is none of the three, or the coordinate system is not known.
    """
    problems = []
    if unit and unit not in METRES:
        expected = "m, ft, us-ft, or nothing"
        problems.append(Problem("unit", f"cannot be {unit!r}", expected, code="not-on-offer", fields=("unit",)))
    if crs:
        try:
            CRS.from_user_input(crs)
        except CRSError:
            expected = "a coordinate system by its number, like EPSG:25832"
            problems.append(
                Problem("crs", f"{crs!r} is not known", expected, code="coordinate-system-unknown", fields=("crs",))
            )
    if problems:
        raise PlanError(problems)
    return Told(unit, crs, surface)


def told_of(path: Path) -> Told:
    """What was said of a file; what cannot be read counts as nothing said."""
    return _held(path.parent).get(path.name, Told())


def keep_told(folder: Path, names: Mapping[str, Told]) -> None:
    """Keep what was said of files of a folder; of those that are sent again only what was said last."""
    held = {**_held(folder), **names}
    kept = {name: asdict(said) for name, said in sorted(held.items()) if said != Told()}
    path = folder / TOLD_FILE
    if not kept:
        path.unlink(missing_ok=True)
        return
    with in_one_step(path) as fresh:
        fresh.write_text(json.dumps({"files": kept}, indent=1), encoding="utf-8")


def _held(folder: Path) -> dict[str, Told]:
    """All that was said of a folder's files."""
    try:
        files = json.loads((folder / TOLD_FILE).read_text(encoding="utf-8"))["files"]
        return {
            str(name): Told(
                unit if (unit := str(said.get("unit", ""))) in METRES else "",
                str(said.get("crs", "")),
                said.get("surface") is True,
            )
            for name, said in files.items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}
