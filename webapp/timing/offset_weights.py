"""What counts more or less when offsets are chosen: saved like every other change of the document."""

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from webapp.config.addresses import Room, to
from webapp.forms.weights import NEW, weights_typed
from webapp.shell.dependencies import FormDep, MapsDep, ReadableDep, SettingsDep, StoreDep
from webapp.shell.render import notice
from webapp.shell.saving import save
from webapp.store.documents import network_of
from webapp.timing.offsets import Shown, offsets_page

router = Room("offset_weights")


@router.post("/networks/{network_id}/offsets/weights")
def change(
    request: Request, opened: ReadableDep, maps: MapsDep, store: StoreDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Save the weights as typed, as a new revision."""
    author = form.get("author", "").strip()
    try:
        if not author:
            raise PlanError(
                [
                    Problem(
                        "author",
                        "the record needs to know who changes this",
                        "your name",
                        code="author-missing",
                        fields=("author",),
                    )
                ]
            )
        changed, said = weights_typed(opened.document, form)
        network_of(changed, opened.network.own_services)
        if not said:
            raise PlanError(
                [
                    Problem(
                        "weights",
                        "nothing was changed",
                        "a name for a new one, or another factor",
                        code="nothing-changed",
                        fields=("weights",),
                    )
                ]
            )
    except PlanError as error:
        shown = Shown(problems=error.problems, new_weight={name: form.get(name, "") for name in NEW})
        return offsets_page(request, opened, maps, settings.limits.grid_points, shown, status=422)
    save(request, store, opened, changed, form, author=author, reason=f"weighting: {said}"[:300])
    notice(request, "Saved as a new revision. The next search counts like that.")
    return RedirectResponse(to("offsets.show", opened.head.id), 303)
