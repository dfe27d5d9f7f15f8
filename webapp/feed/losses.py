"""Losses: what the usual protections leave, and what captures or logs of a network say."""

import secrets
import shutil
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Annotated, BinaryIO, ClassVar, cast

from fastapi import File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.report.second_path import second_path_said
from sfn.report.stream_charts import burst_chart, delay_chart, hours_chart
from sfn.stream.capture import read_packets
from sfn.stream.heard import Heard
from sfn.stream.measured import Measured, measure
from sfn.study.losses import Left, Records, records, usual_protections, with_second
from webapp.config.addresses import Room, to
from webapp.forms import stream as forms
from webapp.forms.stream import Part
from webapp.forms.stream_typed import AskedRecord, asked_record_of, measured_fields, packet_time_of, paths_of, written
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, NetworkDep, Opened, SettingsDep
from webapp.shell.following import found as job_found
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.work.jobs import Progress

router = Room("losses")


@dataclass(frozen=True, slots=True)
class LossesPage(Context):
    """What protections leave of given losses, and the form that takes records of a network."""

    TEMPLATE: ClassVar[str] = "feed/losses.html"
    TAB: ClassVar[str] = "losses"
    network: NetworkHead
    """Which network, in which revision."""
    parts: tuple[Part, ...]
    """The form."""
    upload: tuple[Part, ...]
    """The form beside the files."""
    left: tuple[Left, ...]
    """The usual protections, once asked."""
    taken_as: str
    """What their figures rest on where no mean burst is given; empty otherwise."""
    problems: tuple[Problem, ...]
    """What belongs to no field."""


@dataclass(frozen=True, slots=True)
class MeasuredPage(Context):
    """What one or two records of a network say."""

    TEMPLATE: ClassVar[str] = "feed/measured.html"
    TAB: ClassVar[str] = "losses"
    network: NetworkHead
    """Which network, in which revision."""
    records: Records
    """The records and what was found."""
    charts: tuple[str, ...]
    """Bursts, delays, hours."""
    second: str
    """What a plan adds for the second path, in words; empty for one record."""
    as_model: str
    """Address of the losses page with the fitted model in it."""
    as_plan: str
    """Address of the link plan with the delay variation and the model in it."""


@router.get("/networks/{network_id}/losses")
def show(request: Request, opened: NetworkDep) -> Response:
    """The forms, and the usual protections once losses are given."""
    typed = dict(request.query_params.multi_items())
    if not typed:
        return page(request, _page(opened, typed, ()))
    try:
        paths = paths_of(typed)
        left = usual_protections(paths, packet_time_s=packet_time_of(typed))
    except PlanError as error:
        return page(request, _page(opened, typed, error.problems), status=422)
    context = _page(opened, typed, ())
    return page(request, replace(context, left=left, taken_as=paths.alone_says or ""))


@router.post("/networks/{network_id}/losses/upload")
def upload(
    opened: NetworkDep,
    jobs: JobsDep,
    settings: SettingsDep,
    form: FormDep,
    first: Annotated[UploadFile, File()],
    second: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Take one or two records and start reading them."""
    asked = asked_record_of(form)
    given = [one for one in (first, second) if one is not None and one.filename]
    if not given:
        raise RefusedError(
            422, Problem("first", "no file was sent", "a capture or a log", code="no-file-chosen", fields=("first",))
        )
    names = [str(one.filename) for one in given]
    files = [_copy(one, settings.data_folder) for one in given]

    def work(progress: Progress) -> Records:
        """Read, put in order, find; the copies are gone whatever happens."""
        with ExitStack() as held:
            for file in files:
                held.enter_context(file)
            taken: list[Measured] = []
            heard = [Heard() for _ in files]
            for name, file, told in zip(names, files, heard, strict=True):
                which = (None, taken[0].source) if taken else (asked.port, asked.source)
                taken.append(_read(file, name, asked, progress, heard=told, which=which))
        progress.tell("cutting into hours, protections worked out", done=100, total=100)
        found = records(taken, names=names, late_probability=asked.late_probability, heard=heard)
        try:
            paths = with_second(
                found, joint_loss_ratio=asked.joint_loss_ratio, joint_burst_packets=asked.joint_burst_packets
            )
        except ValueError as error:
            problem = Problem(
                "record_joint_pct", str(error), "a share that can be, beside one record", code="stream-plan-refused",
                fields=("record_joint_pct",),
            )  # fmt: skip
            raise PlanError([problem]) from None
        return replace(found, left=usual_protections(paths, packet_time_s=taken[0].packet_time_s))

    job = jobs.start(work, title=f"Reading {', '.join(names)}", key=secrets.token_hex(8))
    job.result_url = to("losses.measured", opened.head.id, job.id)
    return RedirectResponse(to("jobs.show", job.id), 303)


@router.get("/networks/{network_id}/losses/{job_id}")
def measured(request: Request, opened: NetworkDep, jobs: JobsDep, job_id: str) -> Response:
    """What was measured."""
    found = job_found(jobs, job_id).result
    if not isinstance(found, Records):
        raise RefusedError(
            404, Problem("record", "is no longer in memory", "the file again", code="no-longer-in-memory")
        )
    charts = (burst_chart(found.first, found.model), delay_chart(found.first), hours_chart(found.hours))
    context = MeasuredPage(
        opened.head,
        found,
        charts,
        second_path_said(found.found) if "second_longer_us" in found.found else "",
        to("losses.show", opened.head.id, query=written(measured_fields(found.found))),
        to("links.show", opened.head.id, query=written(measured_fields(found.found, upper=True))),
    )
    return page(request, context)


def _copy(given: UploadFile, folder: Path) -> IO[bytes]:
    """The upload in a file without a name, which is gone when it is closed."""
    copy = TemporaryFile(dir=folder)  # noqa: SIM115 # closed by the job that reads it
    shutil.copyfileobj(given.file, copy)
    return copy


def _read(
    file: IO[bytes], name: str, asked: AskedRecord, progress: Progress, *, heard: Heard,
    which: tuple[int | None, int | None],
) -> Measured:  # fmt: skip
    """One record, told as it goes; of which port and source."""
    size = file.tell()
    file.seek(0)

    def tell(part: float) -> None:
        """How far it is."""
        progress.tell(f"reading {name}", done=round(100 * part), total=100)

    port, source = which
    pieces = read_packets(
        cast(BinaryIO, file), name=name, size_bytes=size, port=port, source=source, heard=heard, progress=tell
    )
    return measure(pieces, packet_time_s=asked.packet_time_s, remove_drift=asked.remove_drift)


def _page(opened: Opened, typed: dict[str, str], problems: tuple[Problem, ...]) -> LossesPage:
    """The forms without an answer."""
    parts = (
        forms.part("Loss on the way", forms.LOSS, typed, problems),
        forms.part("Packets", forms.PACKET_TIME, typed, problems),
    )
    upload = (
        forms.part("How to read them", forms.RECORD, {}, ()),
        forms.part("A second path that is not recorded", forms.SECOND_OF_RECORD, {}, ()),
    )
    return LossesPage(opened.head, parts, upload, (), "", forms.elsewhere(parts, problems))
