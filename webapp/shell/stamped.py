"""Files that say what they are of: network, revision, when they were made, what is tried."""

from datetime import UTC, datetime

from fastapi.responses import Response

from sfn.answer.map_files import MEDIA, lines_file
from sfn.report.stamp import Stamp, stamp
from webapp.shell.dependencies import Opened


def stamp_of(
    opened: Opened, says: tuple[str, ...] = (), cut: str = "", classes: tuple[str, ...] = (),
    besides: tuple[str, ...] = (),
) -> Stamp:  # fmt: skip
    """What files made now say of themselves; `cut`: what the frame of their map cuts, `classes`: what classes are.

    `besides`: whose data they rest on beside ground and people.
    """
    number = opened.head.revision.number
    made_at, said = datetime.now(UTC), (*opened.head.credits, *besides)
    return stamp(
        opened.network, revision=number, made_at=made_at, says=says, cut=cut, classes=classes, credits=said
    )  # fmt: skip


def as_file(document: dict[str, object], name: str, form: str, by: Stamp) -> Response:
    """Lines to be kept."""
    return Response(lines_file(document, name, form, by), media_type=MEDIA[form], headers=named(by, name, form))


def named(by: Stamp, name: str, form: str) -> dict[str, str]:
    """The file's name, that of a try beginning with TRY."""
    return {"Content-Disposition": f'attachment; filename="{by.file(name, form)}"'}
