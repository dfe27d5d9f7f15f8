"""The map's files: every layer as GeoTIFF, PNG and CSV, its lines and the wavefronts as GeoJSON and KML."""

import tempfile
from collections.abc import Iterator
from typing import IO, Annotated, Literal

from fastapi import Query, Request
from fastapi.responses import JSONResponse, Response, StreamingResponse

from sfn.answer.layer_lines import layer_lines
from sfn.answer.map_files import MEDIA, layer_png, layer_tif, layers_csv, wavefronts, write_zip
from sfn.study.zones import Layer, Zones
from webapp.config.addresses import Room
from webapp.coverage.zones import DRAWN_LAYER, known_pair, zones_of
from webapp.shell.dependencies import MapsDep, ReadableStatedDep
from webapp.shell.problems import RefusedError
from webapp.shell.stamped import as_file, named, stamp_of
from webapp.standing.overlaid import laid_over
from webapp.standing.tries import TriesDep

router = Room("map_files")
ALL = "all-layers"
OVERLAYS_SAY = "Over a picture: keys of `map/overlays.json` with commas between, or `none`; empty: the usual."
BLOCK_BYTES = 1 << 20


@router.get("/networks/{network_id}/map/{key}/file/{name}.{form}")
def layer_file(
    request: Request,
    opened: ReadableStatedDep,
    maps: MapsDep,
    key: str,
    name: str,
    form: Literal["tif", "png", "csv"],
    tries: TriesDep,
    overlays: Annotated[str, Query(max_length=200, description=OVERLAYS_SAY)] = "",
    quick: Annotated[bool, Query(description="Classes by the quick estimate, as while something is tried.")] = False,
) -> Response:
    """One layer as a file; as CSV also all of them. Lines and names lie over the picture alone."""
    found, now = zones_of(opened, maps, key, tries, drawn=not quick)
    by = stamp_of(opened, now.says, found.cut_says, found.beside_says)
    if form == "csv":
        layers = found.layers if name == ALL else (_layer(found, name),)
        return StreamingResponse(layers_csv(found, layers, by), media_type=MEDIA[form], headers=named(by, name, form))
    layer = _layer(found, name)
    if form == "tif":
        made = layer_tif(found, layer, by)
    else:
        made = layer_png(found, layer, by, laid_over(request, opened.head.id, opened.network, overlays))
    return Response(made, media_type=MEDIA[form], headers=named(by, name, form))


@router.get("/networks/{network_id}/map/{key}/lines/{name}.{form}")
def lines(
    opened: ReadableStatedDep,
    maps: MapsDep,
    key: str,
    name: str,
    form: Literal["json", "geojson", "kml"],
    tries: TriesDep,
) -> Response:
    """The lines of a layer: for the page, or as a file."""
    found, now = zones_of(opened, maps, key, tries, drawn=form != "json" or name == DRAWN_LAYER)
    made = layer_lines(found, _layer(found, name))
    if form == "json":
        return JSONResponse(made)
    return as_file(made, f"lines-{name}", form, stamp_of(opened, now.says, found.cut_says, found.beside_says))


@router.get("/networks/{network_id}/map/{key}/wavefronts.{form}")
def wavefront_file(
    opened: ReadableStatedDep,
    maps: MapsDep,
    key: str,
    form: Literal["geojson", "kml"],
    tries: TriesDep,
    a: str = "",
    b: str = "",
) -> Response:
    """The wavefronts of a pair, or of all pairs that meet."""
    found, now = zones_of(opened, maps, key, tries, drawn=True)
    if a or b:
        known_pair(found, a, b)
    name = f"wavefronts-{a}-{b}" if a else "wavefronts"
    made = wavefronts(found, now.launches, ((a, b),) if a else ())
    return as_file(made, name, form, stamp_of(opened, now.says, found.cut_says, found.beside_says))


@router.get("/networks/{network_id}/map/{key}/files.zip")
def everything(opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """Every layer as GeoTIFF and all lines in one archive."""
    found, now = zones_of(opened, maps, key, tries, drawn=True)
    by = stamp_of(opened, now.says, found.cut_says, found.beside_says)
    held = tempfile.TemporaryFile()  # noqa: SIM115  `_blocks` closes it
    write_zip(held, found, now.launches, by)
    held.seek(0)
    return StreamingResponse(_blocks(held), media_type="application/zip", headers=named(by, "map", "zip"))


def _blocks(held: IO[bytes]) -> Iterator[bytes]:
    """A file in blocks; it is closed, and gone, at its end."""
    with held:
        while block := held.read(BLOCK_BYTES):
            yield block


def _layer(found: Zones, name: str) -> Layer:
    """The layer of that name, or 404."""
    layer = found.layer(name)
    if layer is None:
        raise RefusedError(404)
    return layer
