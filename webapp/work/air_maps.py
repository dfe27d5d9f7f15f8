"""The ITU's refractivity maps that somebody brought: one pair for the whole program, beside the terrains."""

import secrets
import shutil
from pathlib import Path
from typing import BinaryIO

from sfn.errors import PlanError, Problem
from sfn.propagation.refractivity import MAPS, RefractivityMaps, read_maps

# Beside the terrains; not a name that a terrain may have.
FOLDER = ".refractivity"
# The maps of P.1812 have 0.3 MB each, those of a finer grid 2 MB.
MOST_BYTES = 8_000_000
# What a form calls each.
FIELDS = {"delta_n": "map_dn", "surface_refractivity_n0": "map_n0"}


def air_maps(terrain_folder: Path) -> RefractivityMaps | None:
    """The maps that were brought; None where none were.

    Raises
    ------
    PlanError
        If they can no longer be read.
    """
    folder = terrain_folder / FOLDER
    return read_maps(folder) if folder.is_dir() else None


def keep_air_maps(terrain_folder: Path, sent: dict[str, BinaryIO | None]) -> None:
    """Keep both maps in place of earlier ones; both, or none when one cannot be used.

    Parameters
    ----------
    terrain_folder : Path
    sent : dict
        Streams by the keys of `sfn.propagation.refractivity.MAPS`.

    Raises
    ------
    PlanError
        If one is missing, larger than a map is, or no map.
    """
    arriving = terrain_folder / f"{FOLDER}-{secrets.token_hex(8)}"
    arriving.mkdir(parents=True)
    problems = []
    try:
        for name, (file_name, _, _) in MAPS.items():
            stream = sent.get(name)
            content = b"" if stream is None else stream.read(MOST_BYTES + 1)
            if len(content) > MOST_BYTES:
                problems.append(
                    Problem(
                        "maps", f"{file_name} has more than {MOST_BYTES / 1e6:g} MB", "the text grid of ITU-R P.1812",
                        code="map-too-large", fields=(FIELDS[name],),
                    )
                )  # fmt: skip
            elif content:
                (arriving / file_name).write_bytes(content)
        if problems:
            raise PlanError(problems)
        read_maps(arriving)
        held, before = terrain_folder / FOLDER, terrain_folder / f"{FOLDER}-{secrets.token_hex(8)}"
        if held.exists():
            held.rename(before)
        arriving.rename(held)
        shutil.rmtree(before, ignore_errors=True)
    finally:
        shutil.rmtree(arriving, ignore_errors=True)
