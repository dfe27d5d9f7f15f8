"""The air of a network on the page Terrain: bring the ITU's maps, take up what they have."""

from typing import Annotated, Any

from fastapi import File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import placed_sites
from sfn.propagation.refractivity import MAPS
from sfn.study.air import air_of
from webapp.config.addresses import Room, to
from webapp.describe.revisions import save_part
from webapp.describe.terrain import shown
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, StoreDep
from webapp.shell.render import notice
from webapp.work.air_maps import FIELDS, air_maps, keep_air_maps

router = Room("air")


@router.post("/networks/{network_id}/refractivity/upload")
def bring(
    request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep,
    map_dn: Annotated[UploadFile | None, File()] = None, map_n0: Annotated[UploadFile | None, File()] = None,
) -> Response:  # fmt: skip
    """Keep the two maps, for all networks; nothing of a network changes."""
    sent = {name: file.file if file else None for name, file in zip(FIELDS, (map_dn, map_n0), strict=True)}
    try:
        keep_air_maps(maps.terrain_folder, sent)
    except PlanError as refused:
        return shown(request, opened, maps, refused.problems, form)
    store.audit.add("refractivity maps", subject="DN50, N050", network_id=opened.head.id, body={})
    names = " and ".join(file_name for file_name, _, _ in MAPS.values())
    notice(request, f"{names} are kept, for every network. Below stands what they have here; nothing was changed yet.")
    return RedirectResponse(to("terrain.show", opened.head.id), 303)


@router.post("/networks/{network_id}/refractivity")
def take_up(request: Request, store: StoreDep, opened: NetworkDep, maps: MapsDep, form: FormDep) -> Response:
    """Save the network with what the maps have at its middle."""

    def changed(document: dict[str, Any]) -> dict[str, Any]:
        """The document with it."""
        offered = air_of(opened.network, placed_sites(opened.network).at, air_maps(maps.terrain_folder)).offered
        if offered is None:
            expected = "both maps sent first, and a site with a place"
            raise PlanError([Problem("maps", "are not there", expected, code="map-unreadable", fields=("maps",))])
        return document | {
            "delta_n": offered.delta_n,
            "surface_refractivity_n0": offered.surface_refractivity_n0,
        }

    return save_part(
        request, store, opened.head.id, form, changed, then=to("terrain.show", opened.head.id),
        refused=lambda problems: shown(request, opened, maps, problems, form),
    )  # fmt: skip
