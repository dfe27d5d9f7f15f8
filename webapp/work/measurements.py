"""Forms of the measurements page, and recordings kept on disk while a job reads them."""

import re
import secrets
import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import UploadFile

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import number_in
from sfn.plan.sheets import table_text
from sfn.study.reconciled import Way
from sfn.study.recordings import Chosen, measured
from sfn.survey.spectra import Weighting
from sfn.units import written
from sfn.work.recordings import RecordingsAsked
from webapp.work.jobs import Job, Jobs, Progress, Work
from webapp.work.searches import by_workers
from webapp.work.workers import Workers

WAYS: tuple[Way, ...] = ("all", "robust", "without suspects")
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class MeasurementForm:
    """Delay differences as typed, and how to take them."""

    csv: str = ""
    source: str = "typed"
    held: tuple[str, ...] = ()
    way: Way = "all"
    as_set: bool = False
    leave_out: bool = False
    """Whether lines that cannot be used are left out, once they were shown."""
    kept: bool = False
    """Whether nothing is typed: what the network keeps is adjusted."""


@dataclass(frozen=True, slots=True)
class EchoForm:
    """An impulse response as typed, where it was measured, and how sure things are."""

    response: str = ""
    at: str = ""
    launch_uncertainty_us: str = "2"
    uncertainty_us: str = "0.5"


def measurement_form(form: Mapping[str, str], files: Sequence[UploadFile], *, sites: Sequence[str]) -> MeasurementForm:
    """The typed form; a file, when one was chosen, stands for the typed text."""
    typed, source = form.get("csv", ""), form.get("source", "typed") or "typed"
    for file in files:
        typed, source = text_of(file), safe_name(file.filename or "file")
    way = form.get("way", "all")
    return MeasurementForm(
        csv=typed,
        source=source,
        held=tuple(site for site in sites if form.get(f"hold-{site}")),
        way=way if way in WAYS else "all",
        as_set=bool(form.get("as_set")),
        leave_out=bool(form.get("leave_out")),
        kept=bool(form.get("kept")),
    )


def echo_form(form: Mapping[str, str], files: Sequence[UploadFile]) -> EchoForm:
    """The typed form; a file, when one was chosen, stands for the typed text."""
    typed = text_of(files[0]) if files else form.get("response", "")
    usual = EchoForm()
    return EchoForm(
        response=typed,
        at=form.get("at", ""),
        launch_uncertainty_us=form.get("launch_uncertainty_us", usual.launch_uncertainty_us),
        uncertainty_us=form.get("uncertainty_us", usual.uncertainty_us),
    )


def text_of(file: UploadFile) -> str:
    """The text of a file; an XLSX's first sheet as CSV.

    Raises
    ------
    PlanError
        If it is no text, or no XLSX that can be read.
    """
    return table_text(file.file.read(), source=safe_name(file.filename or "file"))


def number_of(form: Mapping[str, str], name: str, *, usual: float, least: float, greatest: float, unit: str) -> float:
    """A typed number within a range; the usual one where the field is empty.

    Raises
    ------
    PlanError
        If it is no number or out of range.
    """
    typed = form.get(name, "").strip()
    expected = f"a number from {written(least)} to {written(greatest)} {unit}"
    try:
        return number_in(typed, least=least, greatest=greatest) if typed else usual
    except ValueError as error:
        raise PlanError([Problem(name, str(error), expected, code="not-a-number", fields=(name,))]) from None


def safe_name(name: str) -> str:
    """A stranger's file name as one that can stand on disk and in a message."""
    plain = re.sub(r"[^A-Za-z0-9._ -]", "_", name.replace("\\", "/").rsplit("/", 1)[-1]).strip(" .")
    return plain[-80:] or "file"


def kept(files: Sequence[UploadFile], folder: Path) -> tuple[Path, ...]:
    """Recordings copied into a folder of their own; what was left over for a day is removed.

    Raises
    ------
    PlanError
        If no file was chosen.
    """
    if not files:
        raise PlanError(
            [
                Problem(
                    "first",
                    "no recording was chosen",
                    "a WAV, FLAC, WAVE64 or RF64 file",
                    code="no-file-chosen",
                    fields=("first",),
                )
            ]
        )
    paths, _ = kept_side_by_side([(file,) for file in files], folder)
    return tuple(path for one in paths for path in one)


def kept_side_by_side(
    groups: Sequence[Sequence[UploadFile]], folder: Path
) -> tuple[tuple[tuple[Path, ...], ...], Path]:
    """Files copied into a folder of their own, those of one group side by side, as SigMF needs them; and that folder.

    What was left over for a day is removed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.iterdir():
        if old.stat().st_mtime < time.time() - _DAY_S:
            shutil.rmtree(old, ignore_errors=True)
    own = folder / secrets.token_urlsafe(9)
    found = []
    for number, files in enumerate(groups):
        place = own / str(number)
        place.mkdir(parents=True)
        paths = []
        for file in files:
            paths.append(place / safe_name(file.filename or "recording"))
            with paths[-1].open("wb") as copy:
                shutil.copyfileobj(file.file, copy, 1 << 20)
        found.append(tuple(paths))
    return tuple(found), own


def measuring(
    jobs: Jobs, files: Sequence[UploadFile], form: Mapping[str, str], *, folder: Path, workers: Workers | None = None
) -> Job:
    """Keep recordings and start measuring them, here or by workers; nothing stays on disk when that is refused.

    Raises
    ------
    PlanError
        If no file was chosen, a typed number cannot be used, or too many jobs wait.
    """
    paths = kept(files, folder)
    try:
        work = recording_work(paths, form, workers)
        return jobs.start(work, title="Delay of recordings", key=str(paths[0]), far=workers is not None)
    except PlanError:
        shutil.rmtree(paths[0].parent.parent, ignore_errors=True)
        raise


def recording_work(paths: Sequence[Path], form: Mapping[str, str], workers: Workers | None = None) -> Work:
    """The measurement as a job's work; the recordings are removed when it ends.

    Raises
    ------
    PlanError
        If a typed number cannot be used.
    """

    def channel(name: str) -> int | None:
        typed = form.get(name, "").strip()
        return int(number_of(form, name, usual=1, least=1, greatest=64, unit="")) if typed else None

    chosen = Chosen(channel("reference_channel") or 1, channel("off_air_channel"), channel("marker_channel"))
    expected_us = number_of(form, "expected_us", usual=0.0, least=-60e6, greatest=60e6, unit="us")
    search_us = number_of(form, "search_us", usual=500_000.0, least=1.0, greatest=5e6, unit="us")
    weighting: Weighting = "phat" if form.get("weighting") == "phat" else "ml"
    use_pilot, alone = bool(form.get("pilot")), bool(form.get("alone"))

    wishes = {
        "chosen": chosen, "weighting": weighting, "expected_us": expected_us, "search_us": search_us,
        "use_pilot": use_pilot, "alone": alone,
    }  # fmt: skip

    def work(progress: Progress) -> object:
        try:
            if workers is None:
                return measured(paths, tell=progress.tell, **wishes)  # type: ignore[arg-type] # by name, as written above
            asked = RecordingsAsked(tuple(within(path, workers) for path in paths), wishes)
            return by_workers(workers, "recordings", asked, progress, told=telling(progress))
        finally:
            shutil.rmtree(paths[0].parent.parent, ignore_errors=True)

    return work


def within(path: Path, workers: Workers) -> str:
    """Where a file lies in the data folder."""
    return path.relative_to(workers.data_folder).as_posix()


def telling(progress: Progress) -> Callable[[str, int, int], None]:
    """What a worker says, told of the job; ends it where somebody cancelled it."""
    return lambda phase, done, total: progress.tell(phase, done=done, total=total)
