"""Recordings of I and Q as they are sent: kept on disk while a job looks for every path in them."""

import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path

from starlette.datastructures import UploadFile

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.plan import Network
from sfn.study.arrivals import arrivals
from sfn.survey.arrivals.iq import SIGMF_SUFFIXES
from sfn.terrain.ground import Ground
from sfn.terrain.named import named
from sfn.work.recordings import ArrivalsAsked
from webapp.work.jobs import Job, Jobs, Progress, Work
from webapp.work.measurements import kept_side_by_side, number_of, telling, within
from webapp.work.searches import by_workers
from webapp.work.workers import Workers

_LONGEST_N = 80


def looking_for_arrivals(
    jobs: Jobs,
    files: Mapping[str, Sequence[UploadFile]],
    form: Mapping[str, str],
    network: Network,
    *,
    ground: Ground | None,
    folder: Path,
    workers: Workers | None = None,
) -> Job:
    """Keep a recording and its reference and start looking; nothing stays on disk when that is refused.

    Raises
    ------
    PlanError
        If a file is missing, a typed value cannot be used, or too many jobs wait.
    """
    recording, reference = files.get("recording", ()), files.get("reference", ())
    for name, chosen, expected in (
        ("recording", recording, "I and Q in two channels, or both files of SigMF"),
        ("reference", reference, "the composite that was on air: WAV, FLAC, WAVE64 or RF64"),
    ):
        if not chosen:
            raise PlanError([Problem(name, "no file was chosen", expected, code="no-file-chosen", fields=(name,))])
    paths, own = kept_side_by_side((recording, reference[:1]), folder)
    try:
        work = _work(paths[0], paths[1][0], form, network, ground=ground, own=own, workers=workers)
        title = "Arrivals in a recording of I and Q"
        return jobs.start(work, title=title, key=str(own), far=workers is not None)
    except PlanError:
        shutil.rmtree(own, ignore_errors=True)
        raise


def _work(
    recording: Sequence[Path],
    reference: Path,
    form: Mapping[str, str],
    network: Network,
    *,
    ground: Ground | None,
    own: Path,
    workers: Workers | None,
) -> Work:
    """The search as a job's work; the recordings are removed when it ends."""
    path = _recording_of(recording)
    typed_at = form.get("at", "").strip()
    at = locate(text=typed_at, where="at") if typed_at else None
    deviation_khz = number_of(form, "deviation_khz", usual=float("nan"), least=1.0, greatest=1000.0, unit="kHz")
    if not form.get("deviation_khz", "").strip():
        expected = "the deviation that full scale of the reference makes, 1 to 1000 kHz"
        raise PlanError(
            [Problem("deviation_khz", "is not given", expected, code="value-missing", fields=("deviation_khz",))]
        )
    channel = int(number_of(form, "reference_channel", usual=1, least=1, greatest=64, unit=""))
    search_us = number_of(form, "search_us", usual=500_000.0, least=1.0, greatest=5e6, unit="us")
    spread_us = number_of(form, "spread_us", usual=150.0, least=20.0, greatest=400.0, unit="us")
    launch_us = number_of(form, "launch_uncertainty_us", usual=2.0, least=0.01, greatest=1e4, unit="us")
    when, by = form.get("when", "").strip()[:_LONGEST_N], form.get("recorded_by", "").strip()[:_LONGEST_N]
    as_set = bool(form.get("as_set"))

    of_network = None if at is None else network
    wishes = {
        "deviation_khz": deviation_khz, "reference_channel": channel, "search_us": search_us, "spread_us": spread_us,
        "at": None if at is None else (at.lat_deg, at.lon_deg), "launch_uncertainty_us": launch_us, "as_set": as_set,
        "when": when, "by": by,
    }  # fmt: skip

    def work(progress: Progress) -> object:
        try:
            there = None if workers is None or ground is None else named(ground, folder=workers.data_folder / "terrain")
            if workers is None or (ground is not None and there is None):
                return arrivals(path, reference, network=of_network, ground=ground, tell=progress.tell, **wishes)  # type: ignore[arg-type] # by name, as written above
            asked = ArrivalsAsked(within(path, workers), within(reference, workers), of_network, there, wishes)
            return by_workers(workers, "arrivals", asked, progress, told=telling(progress))
        finally:
            shutil.rmtree(own, ignore_errors=True)

    return work


def _recording_of(paths: Sequence[Path]) -> Path:
    """The one recording, or the metadata of the two files of SigMF."""
    described = [path for path in paths if path.suffix == SIGMF_SUFFIXES[0]]
    if len(paths) == 1 or (len(paths) == 2 and len(described) == 1):
        return (described or list(paths))[0]
    what = f"{len(paths)} files were chosen"
    expected = "one file of two channels, or NAME.sigmf-meta and NAME.sigmf-data"
    raise PlanError([Problem("recording", what, expected, code="recordings-number", fields=("recording",))])
