"""The terrain folder: what lies in it, and taking in files that people send."""

import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.study.coast import bounds_around
from sfn.terrain.as_laid import off_the_file
from sfn.terrain.coast import Zones, write_zones, zones_of_classes, zones_of_polygons
from sfn.terrain.credits import credits_of
from sfn.terrain.dem import Terrain, terrain_from_folder
from sfn.terrain.fits import not_cover, not_terrain
from sfn.terrain.ground import Ground
from sfn.terrain.memory import Memory
from sfn.terrain.packed import PackedError, unpacked
from sfn.terrain.ridge import RIDGE, ridge
from sfn.terrain.tile import UnusableError, tile_of
from sfn.terrain.told import Told, keep_told

FOLDER_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,59}")
# Beside the folders while files arrive; not a name that a folder may have.
ARRIVING = ".arriving-"


# So many files of a terrain are held to their own samples: 0.1 s each, once.
MOST_LAID_N = 4


@dataclass(frozen=True, slots=True)
class TerrainLine:
    """One terrain that a network may name."""

    value: str
    """What the form sends: ``ridge`` or ``folder NAME``."""
    name: str
    files: int
    bounds_deg: tuple[float, float, float, float] | None
    """South, west, north, east."""
    fine_m: float | None
    """Spacing of its samples."""
    problems: tuple[Problem, ...]
    remarks: tuple[str, ...] = ()
    """What was taken where the files do not say, and how much of them is void."""
    credits: tuple[str, ...] = ()
    """Whose data they are."""
    not_terrain: tuple[Problem, ...] = ()
    """Why they are not offered as the ground; empty where they are."""
    not_cover: tuple[Problem, ...] = ()
    """Why they are not offered as what stands on it, as classes or as heights; empty where they are."""


def terrain_lines(folder: Path, *, memory: Memory) -> tuple[TerrainLine, ...]:
    """Every terrain on offer: the ridge, then the folders by name."""
    lines = [_line(RIDGE, "the demos' ridge country", ridge())]
    held = (
        sorted(p for p in folder.iterdir() if p.is_dir() and FOLDER_NAME.fullmatch(p.name)) if folder.is_dir() else []
    )
    for place in held:
        try:
            terrain = terrain_from_folder(place, memory=memory, blended=False)
            line = _line(f"folder {place.name}", place.name, terrain)
            against = not_terrain(terrain)
            no_cover = () if _could_be_classes(terrain) else not_cover(terrain, classes=False)
            lines.append(replace(line, credits=credits_of(place), not_terrain=against, not_cover=no_cover))
        except PlanError as refused:
            lines.append(TerrainLine(f"folder {place.name}", place.name, 0, None, None, refused.problems))
    return tuple(lines)


def _could_be_classes(terrain: Terrain) -> bool:
    """Whether files may hold classes, so that they stand among what ground cover can be."""
    return any(tile.meaning.could for tile in terrain.tiles)


def source_of(value: str) -> dict[str, Any] | None:
    """The document's ``terrain`` for what a form sends; None for a smooth earth.

    Raises
    ------
    PlanError
        If it is none of those on offer.
    """
    if value == "none":
        return None
    if value == RIDGE:
        return {"source": RIDGE}
    kind, _, name = value.partition(" ")
    if kind == "folder" and FOLDER_NAME.fullmatch(name):
        return {"folder": name}
    raise PlanError(
        [Problem("terrain", f"cannot be {value!r}", "one of those on offer", code="not-on-offer", fields=("terrain",))]
    )


def value_of(source: dict[str, Any] | None) -> str:
    """What the form sends for a document's ``terrain``."""
    if not source:
        return "none"
    return RIDGE if "source" in source else f"folder {source.get('folder', '')}"


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of files that were sent."""

    count: int
    """How many were taken."""
    left_out: tuple[str, ...]
    """Names of an archive's files that are no rasters."""


def take_files(folder: Path, name: str, files: Iterable[tuple[str, BinaryIO]], *, said: Told = Told()) -> Taken:  # noqa: B008 - frozen
    """Put files into a terrain's folder; all of them, or none when one cannot be used.

    Parameters
    ----------
    folder : Path
        The program's terrain folder.
    name : str
        The terrain's name, a folder in it; made when it is not there.
    files : iterable of (name, stream)
        Rasters, and archives of rasters.
    said : Told
        Unit and coordinate system of those files that do not say theirs.

    Returns
    -------
    Taken
        A file of the same name as an earlier one replaces it.

    Raises
    ------
    PlanError
        If the name will not do, there is no file, or one of them is no terrain; every such file is named.
    """
    if not FOLDER_NAME.fullmatch(name):
        raise PlanError(
            [
                Problem(
                    "name",
                    f"cannot be {name!r}",
                    "up to 60 letters, digits, blanks, - and _",
                    code="name-unusable",
                    fields=("name",),
                )
            ]
        )
    arriving = folder / f"{ARRIVING}{secrets.token_hex(8)}"
    arriving.mkdir(parents=True)
    try:
        taken, left_out, problems = _arrived(arriving, files)
        keep_told(arriving, {path.name: said for path in taken})
        problems += _unusable(path for path in taken if path.suffix.lower() != ".prj")
        if problems:
            raise PlanError(problems)
        (folder / name).mkdir(exist_ok=True)
        keep_told(folder / name, {path.name: said for path in taken})
        for path in taken:
            os.replace(path, folder / name / path.name)
    finally:
        shutil.rmtree(arriving, ignore_errors=True)
    return Taken(len(taken), tuple(left_out))


def zones_kept(
    folder: Path,
    form: Mapping[str, str],
    ground: Ground,
    placed: Mapping[str, Located],
    sent: tuple[str, BinaryIO] | None,
) -> Zones:
    """Make zones of what a form says and keep them in a folder of their own.

    Parameters
    ----------
    folder : Path
        The program's terrain folder.
    form : mapping
        ``name`` of the folder; ``water``, classes with commas, or ``polygons``, ``land`` or ``sea``, beside a file.
    ground : Ground
        What the network names.
    placed : mapping of site id to a position on WGS84
    sent : tuple of (name, stream), optional
        A coastline as GeoJSON.

    Raises
    ------
    PlanError
        If the name will not do or is in use for something else, or nothing can be made of what was sent.
    """
    name, bounds = form.get("name", "").strip(), bounds_around(placed)
    held = folder / name
    if not FOLDER_NAME.fullmatch(name) or (held.is_dir() and {p.name for p in held.iterdir()} - {"zones.tif"}):
        expected = "the name of a new folder: up to 60 letters, digits, blanks, - and _"
        raise PlanError([Problem("name", f"cannot be {name!r}", expected, code="name-unusable", fields=("name",))])
    if sent is not None:
        with tempfile.TemporaryDirectory() as place:
            path = Path(place) / (re.sub(r"[^A-Za-z0-9._-]", "_", Path(sent[0]).name)[-80:] or "coastline")
            with path.open("wb") as out:
                shutil.copyfileobj(sent[1], out)
            of = "sea" if form.get("polygons") == "sea" else "land"
            made = zones_of_polygons(path, of=of, terrain=ground.terrain, bounds_deg=bounds)
    else:
        text = form.get("water", "").strip()
        if not re.fullmatch(r"-?\d+([\s,;]+-?\d+)*", text) or ground.cover is None:
            what = (
                f"cannot be {text!r}" if ground.cover is not None else "needs ground cover, and the network names none"
            )
            expected = "the cover's classes of sea and lakes, like 80; or a GeoJSON file with a coastline"
            raise PlanError([Problem("water", what, expected, code="no-water-class", fields=("water",))])
        water = tuple(int(part) for part in re.findall(r"-?\d+", text))
        made = zones_of_classes(ground.cover, water=water, terrain=ground.terrain, bounds_deg=bounds)
    write_zones(made, held)
    return made


def _arrived(arriving: Path, files: Iterable[tuple[str, BinaryIO]]) -> tuple[list[Path], list[str], list[Problem]]:
    """The files on disk, archives unpacked; what archives hold besides; what cannot be taken."""
    taken: dict[str, Path] = {}
    left_out: list[str] = []
    problems: list[Problem] = []
    for sent, stream in files:
        file_name = Path(sent.replace("\\", "/")).name
        try:
            found, besides = unpacked(file_name, stream, into=arriving)
        except PackedError as error:
            what, expected = error.args
            problems.append(Problem("files", what, expected, code="file-of-another-kind", fields=("files",)))
            continue
        taken.update({path.name: path for path in found})
        left_out += besides
    if not taken and not problems:
        raise PlanError(
            [
                Problem(
                    "files",
                    "no raster was sent",
                    "one GeoTIFF, IMG, ASCII grid, VRT or SRTM .hgt file or more, or an archive of them",
                    code="no-file-chosen",
                    fields=("files",),
                )
            ]
        )
    return list(taken.values()), left_out, problems


def _unusable(paths: Iterable[Path]) -> list[Problem]:
    """Every file that cannot be used, by name."""
    problems = []
    for path in paths:
        try:
            tile_of(path)
        except UnusableError as error:
            what, expected = error.args
            problems.append(
                Problem("files", f"{path.name} {what}", expected, code="terrain-file-unusable", fields=("files",))
            )
    return problems


def _line(value: str, name: str, terrain: Terrain) -> TerrainLine:
    """What the page says of a terrain."""
    middle_deg = sum(terrain.bounds_deg[::2]) / 2
    fine_m = min(part.step_m(middle_deg) for part in terrain.parts)
    return TerrainLine(value, name, len(terrain.tiles), terrain.bounds_deg, fine_m, (), _remarks(terrain))


def _remarks(terrain: Terrain) -> tuple[str, ...]:
    """What was taken where files do not say their unit, and their voids."""
    remarks = []
    unknown = [Path(t.path).name for t in terrain.tiles if not t.unit_known and not t.meaning.surely]
    if unknown:
        named = ", ".join(unknown[:3]) + (f" and {len(unknown) - 3} more" if len(unknown) > 3 else "")
        remarks.append(
            f"No unit of heights in {named}: taken as metres (of classes it does not matter). "
            "Send again with the unit if they are feet."
        )
    remarks += [
        f"{Path(tile.path).name} may hold classes: {tile.meaning.perhaps}. Classes are no heights: choose them as "
        "ground cover or zones only."
        for tile in terrain.tiles[:MOST_LAID_N]
        if tile.meaning.perhaps
    ]
    if terrain.surface:
        remarks.append("Heights of treetops and roofs: ground cover is taken off them, so that it counts once.")
    void = [(tile.void_pct, Path(tile.path).name) for tile in terrain.tiles if tile.void_pct > 0.0]
    if void:
        worst_pct, worst = max(void)
        remarks.append(
            f"Voids in {len(void)} of {len(terrain.tiles)} files, most in {worst} (about {max(worst_pct, 0.1):.1f} %): "
            "not known, and never taken for sea."
        )
    heights = [tile for tile in terrain.tiles[:MOST_LAID_N] if not tile.meaning.surely]
    moved = [found for tile in heights if (found := off_the_file(tile))]
    if moved:
        rms_m, most_m, large_m = (max(one) for one in zip(*moved, strict=True))
        of = "" if len(terrain.tiles) <= MOST_LAID_N else f" (the first {MOST_LAID_N} files were looked at)"
        remarks.append(
            f"Laid on latitude and longitude its heights lie {_metres(rms_m)} rms, {_metres(most_m)} at most, off the "
            f"file's own samples{of}; {_metres(large_m)} rms over areas too large for a lattice finer than the file "
            "(said there). Not classes."
        )
    return tuple(remarks)


def _metres(value_m: float) -> str:
    """A small height; what rounds to nothing is not called nothing."""
    return f"{value_m:.1f} m" if value_m >= 0.05 else "under 0.05 m"
