"""The map as files: layers as GeoTIFF, PNG and CSV, lines as GeoJSON and KML, each with unit, revision and state."""

import json
import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from sfn.answer.layer_lines import layer_lines
from sfn.answer.zones import lines_document
from sfn.field.over_smooth import smooth_says
from sfn.geodesy.sites import place
from sfn.plan.formula import guarded
from sfn.report.map_picture import Mark, map_picture
from sfn.report.maps import geotiff
from sfn.report.over import Over
from sfn.report.stamp import Stamp, stamped
from sfn.report.vector import kml
from sfn.study.layers import LAYERS, RECEPTION
from sfn.study.zones import Layer, Zones, neighbours

FORMS = ("tif", "geojson", "png", "csv", "kml")
MEDIA = {
    "tif": "image/tiff",
    "png": "image/png",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "geojson": "application/geo+json",
    "kml": "application/vnd.google-earth.kml+xml",
}
Pairs = tuple[tuple[str, str], ...]


def layer_tif(found: Zones, layer: Layer, by: Stamp) -> bytes:
    """A layer as GeoTIFF; unit, network, revision, state and what whole numbers mean stand in its tags."""
    tags = by.tags() | {"made_at": by.date, "layer": layer.label, "sites": ",".join(by.sites)}
    if layer.scale.kind == "classes":
        tags["classes"] = "; ".join(layer.scale.words)
    if found.coverage.averaged_says:
        tags["terrain_averaged"] = found.coverage.averaged_says
    if said := found.treetops.says:
        tags["treetops"] = said
    name = f"TRY: {layer.name}" if by.is_try else layer.name
    return geotiff(layer.values, found.coverage.grid, name=name, unit=layer.unit, tags=tags)


def layer_png(found: Zones, layer: Layer, by: Stamp, over: tuple[Over, ...] = ()) -> bytes:
    """A layer as a picture with legend, scale, unit, network, revision and date; lines and names `over` it."""
    coverage, placed = found.coverage, place(found.network)
    marks = tuple(
        Mark(site.name, placed[site.id].lat_deg, placed[site.id].lon_deg, site.offset_us, site.on_air)
        for site in found.network.sites
    )
    too_high = smooth_says(found.network)
    ground = "smooth earth, no terrain" if coverage.smooth else "ITU-R P.1812 over terrain"
    height_m, usable_dbuvm = found.network.receiver.height_m, found.counts.usable_dbuvm
    note = (
        f"{ground}; receiving antenna {height_m:g} m above ground; pixel {coverage.grid.pixel_m:.0f} m; "
        f"minimum field strength {usable_dbuvm:.0f} dBµV/m. Predictions are 6 to 8 dB uncertain at one place."
    )
    heard = f"FM quality of {by.programme}" if by.programme else ""
    classes = by.classes if LAYERS[layer.name].about == RECEPTION else ()
    said = ". ".join(one for one in (found.treetops.says, too_high, by.corrected, heard, *classes, by.credits) if one)
    note = f"{coverage.averaged_says} {note} {said}{'.' if said else ''}".strip()
    return map_picture(
        layer.values, coverage.grid, label=layer.label, scale=layer.scale,
        covered=coverage.covered.reshape(coverage.grid.shape), marks=marks, stamp=by, note=note,
        clear=LAYERS[layer.name].clear,
        refractivity_n=found.network.refractivity_n, over=over,
    )  # fmt: skip


def layers_csv(found: Zones, layers: Iterable[Layer], by: Stamp) -> Iterator[str]:
    """Layers as a table of pixel centres, a row of the map at a time; columns bear unit and revision.

    Classes and sites stand in words. Empty where there is nothing. The heading of a last, empty column of a try says
    what is tried.
    """
    layers, grid = tuple(layers), found.coverage.grid
    heads = ["lat_deg", "lon_deg", *(by.column(layer.name) for layer in layers)]
    averaged = found.coverage.averaged_says
    extra = [
        _quoted(said) for said in (by.state if by.is_try else "", *by.remarks, averaged, found.treetops.says) if said
    ]
    yield ",".join([*heads, *extra]) + "\r\n"
    lon = [f"{value:.6f}" for value in grid.lon_deg]
    ending = "," * len(extra) + "\r\n"
    for r, lat in enumerate(grid.lat_deg):
        cells = [_cells(layer, layer.values[r], by.sites) for layer in layers]
        yield "".join(f"{lat:.6f},{','.join(line)}{ending}" for line in zip(lon, *cells, strict=True))


def _cells(layer: Layer, values: NDArray[np.float32], sites: tuple[str, ...]) -> list[str]:
    """One row of a layer, in words where numbers only stand for them."""
    kind = layer.scale.kind
    if kind in ("classes", "sites"):
        words = layer.scale.words if kind == "classes" else sites
        return [
            "" if v != v else _quoted(words[int(v)]) if kind == "classes" else words[int(v)] for v in values.tolist()
        ]  # site ids: no formula begins like one
    decimals = 0 if kind == "flag" else 3
    return ["" if v != v else f"{v:.{decimals}f}" for v in values.tolist()]


def lines_file(document: Mapping[str, Any], name: str, form: str, by: Stamp) -> str:
    """Lines as GeoJSON or KML, the stamp on each of them."""
    marked = stamped(document, by)
    if form == "kml":
        heading = f"{by.network}, {by.of}, {name}"
        heading = "; ".join((heading, *by.remarks))
        return kml(marked, name=f"{by.state}: {heading}" if by.is_try else heading)
    return json.dumps(marked, ensure_ascii=False, allow_nan=False) + "\n"


def wavefronts(found: Zones, launches: Mapping[str, float], pairs: Pairs = ()) -> dict[str, Any]:
    """The wavefronts of some pairs; of all that are the two strongest somewhere where none is named."""
    return lines_document(found, launches, pairs or neighbours(found))


def write_zip(to: IO[bytes], found: Zones, launches: Mapping[str, float], by: Stamp) -> None:
    """Every layer as GeoTIFF, and all lines as GeoJSON and KML, in one archive."""
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for layer in found.layers:
            # A GeoTIFF is compressed by itself.
            archive.writestr(by.file(layer.name, "tif"), layer_tif(found, layer, by), zipfile.ZIP_STORED)
        for name, document in _all_lines(found, launches):
            for form in ("geojson", "kml"):
                archive.writestr(by.file(name, form), lines_file(document, name, form, by))


def write_files(
    found: Zones, launches: Mapping[str, float], folder: Path, by: Stamp, forms: Collection[str] = ("tif", "geojson")
) -> dict[str, str]:
    """Write the map into a folder; gives the GeoTIFF of each layer by name, and ``lines`` for the wavefronts.

    Parameters
    ----------
    found : Zones
    launches : mapping of site id to launch time
        [us]
    folder : Path
        Made where it does not exist.
    by : Stamp
    forms : collection of str
        Some of `FORMS`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = {}
    for layer in found.layers:
        if "tif" in forms:
            path = folder / f"{layer.name}.tif"
            path.write_bytes(layer_tif(found, layer, by))
            files[layer.name] = str(path)
        if "png" in forms:
            (folder / f"{layer.name}.png").write_bytes(layer_png(found, layer, by))
    if "csv" in forms:
        with (folder / "layers.csv").open("w", encoding="utf-8", newline="") as out:
            out.writelines(layers_csv(found, found.layers, by))
    for name, document in _all_lines(found, launches):
        for form in sorted({"geojson", "kml"} & set(forms)):
            path = folder / f"{name}.{form}"
            path.write_text(lines_file(document, name, form, by), encoding="utf-8")
            if name == "wavefronts" and (form == "geojson" or "lines" not in files):
                files["lines"] = str(path)
    return files


def _all_lines(found: Zones, launches: Mapping[str, float]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every file of lines: wavefronts, and of each layer that has some."""
    yield "wavefronts", wavefronts(found, launches)
    for layer in found.layers:
        document = layer_lines(found, layer)
        if document["features"]:
            yield f"lines-{layer.name}", document


def _quoted(text: str) -> str:
    """A cell of a table."""
    return '"' + guarded(text).replace('"', '""') + '"'
