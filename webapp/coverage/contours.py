"""Contours over the map: drawn, exported, and held against the main's or a licence's."""

from typing import Annotated, Any, Literal

from fastapi import File, UploadFile
from fastapi.responses import JSONResponse, Response

from sfn.answer.contours import document, features
from sfn.errors import PlanError, Problem
from sfn.field.contours import Area, area_geometry
from sfn.field.licence import GREATEST_FILE_BYTES, read_areas
from sfn.plan.left_out import left_out_says
from sfn.report.vector import collection
from sfn.study.contours import Contours, coverage_contours, sentences
from sfn.study.what_if import WhatIf
from webapp.config.addresses import Room
from webapp.coverage.zones import coverage_of
from webapp.shell.dependencies import FormDep, MapsDep, Opened, ReadableDep
from webapp.shell.stamped import as_file, stamp_of
from webapp.standing.tries import TriesDep, number_of
from webapp.work.map_heights import key_of_try, tried_over
from webapp.work.maps import Maps

router = Room("contours")
LEAST_DBUVM, GREATEST_DBUVM = -20.0, 150.0


@router.get("/networks/{network_id}/map/{key}/contours.{form}")
def show(
    opened: ReadableDep,
    maps: MapsDep,
    key: str,
    form: Literal["json", "geojson", "kml"],
    level: str = "",
    site: str = "",
    main: str = "",
    *,
    tries: TriesDep,
) -> Response:
    """Contours of one site or all: for the page, or as a file."""
    found, says = _found(opened, maps, key, level, site, main, tries)
    if form == "json":
        return JSONResponse(_answer(found, says))
    return as_file(
        features(found), f"contours-{found.at_dbuvm:g}-dbuvm", form, stamp_of(opened, says, cut=found.cut_says)
    )


@router.post("/networks/{network_id}/map/{key}/licence/upload")
def licence(
    opened: ReadableDep,
    maps: MapsDep,
    key: str,
    form: FormDep,
    file: Annotated[UploadFile, File()],
    tries: TriesDep,
) -> Response:
    """The same, held against a licence's contour too; answers with that contour."""
    areas = read_areas(file.file.read(GREATEST_FILE_BYTES + 1))
    typed = (form.get("level", ""), form.get("site", ""), form.get("main", ""))
    found, says = _found(opened, maps, key, *typed, tries, areas)
    return JSONResponse(_answer(found, says, areas))


def _found(
    opened: Opened, maps: Maps, key: str, level: str, site: str, main: str, tries: WhatIf, areas: tuple[Area, ...] = ()
) -> tuple[Contours, tuple[str, ...]]:
    """The contours that are asked for, with power and antennas as tried; and what is tried of these, in words."""
    at_dbuvm = number_of("level", level)
    if at_dbuvm is None or not LEAST_DBUVM <= at_dbuvm <= GREATEST_DBUVM:
        expected = f"{LEAST_DBUVM:g} to {GREATEST_DBUVM:g} dBuV/m"
        raise PlanError([Problem("level", f"cannot be {level!r}", expected, code="out-of-range", fields=("level",))])
    coverage_of(opened, maps, key)
    sites = [site] if site else []
    what = WhatIf(levers=tries.levers, state=tries.state)
    now = tried_over(maps, opened.network, what)
    computed = coverage_of(opened, maps, key_of_try(maps, opened.network, now.network, key))
    found = coverage_contours(now.network, computed, sites, at_dbuvm=at_dbuvm, main=main or None, licence=areas)
    return found, now.says


def _answer(found: Contours, tried_says: tuple[str, ...], areas: tuple[Area, ...] = ()) -> dict[str, Any]:
    """What the page draws and says."""
    allowed = [{"type": "Feature", "geometry": area_geometry(area), "properties": {}} for area in areas]
    return document(found, file=None) | {
        "drawn": features(found),
        "licence": collection(allowed),
        "first": [
            said
            for said in (
                *(f"Tried: {one}" for one in tried_says),
                left_out_says(found.left_out),
                found.cut_says,
                found.bare_says,
            )
            if said
        ],
        "says": sentences(found),  # one for each of `inside`
    }
