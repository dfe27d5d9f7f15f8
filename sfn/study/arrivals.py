"""The answer of ``arrivals``: every path in a recording of I and Q, and measurement rows where it was made."""

import csv
import hashlib
import io
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.study.echoes import HEAD
from sfn.study.point import point_signals
from sfn.survey.alignment import Tell, untold
from sfn.survey.arrivals.iq import DEMODULATED, LEAST_RATE_HZ, MOST_S, read_iq
from sfn.survey.arrivals.paths import Paths, paths
from sfn.survey.impulse import Response, assign
from sfn.survey.recording import channels
from sfn.terrain.ground import Ground

_MOST_SITES = 40


@dataclass(frozen=True, slots=True)
class Arrivals:
    """Paths of one recording; with a network and a place also the sites they are given to, and rows.

    `rows` stand in the order of `head`: those of one recording share their reference site's arrival, and with it its
    error, under one name in the column `response`. What is doubtful of the recording goes with each of them.
    """

    recording: str
    reference: str
    found: Paths
    response: Response | None
    rows: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def head(self) -> tuple[str, ...]:
        """Names of the rows' columns."""
        return (*HEAD, "doubt") if self.found.doubt else HEAD


def arrivals(
    recording: Path,
    reference: Path,
    *,
    deviation_khz: float,
    reference_channel: int = 1,
    search_us: float = 500_000.0,
    spread_us: float = 150.0,
    network: Network | None = None,
    at: tuple[float, float] | None = None,
    launch_uncertainty_us: float = 2.0,
    as_set: bool = False,
    ground: Ground | None = None,
    when: str = "",
    by: str = "",
    tell: Tell = untold,
) -> Arrivals:
    """Every path of a known composite in a recording of I and Q.

    Parameters
    ----------
    recording, reference : Path
        I and Q (two channels, or SigMF), and the composite that was on air.
    deviation_khz : float
        Deviation that full scale of the reference stands for; found to better than a thousandth when within 10 %. [kHz]
    search_us, spread_us : float
        How far the beginnings may lie apart, and the paths from what is heard best. [us]
    network, at
        Plan and place (latitude, longitude) [degrees]: the plan's arrivals there start the search, and paths are
        given to sites.
    launch_uncertainty_us : float
        How far launches may be off their plan. [us]
    when, by : str
        When it was recorded and who did, for the rows.

    Raises
    ------
    PlanError
        If a file or a value cannot be used, or the reference does not explain the recording.
    """
    _in_range("deviation_khz", deviation_khz, low=1.0, high=1000.0, unit="kHz")
    _in_range("search_us", search_us, low=1.0, high=5e6, unit="us")
    _in_range("spread_us", spread_us, low=20.0, high=400.0, unit="us")
    heard = read_iq(recording)
    if heard.rate_hz < LEAST_RATE_HZ:
        what = f"has {heard.rate_hz:g} samples a second: an FM signal of 75 kHz does not fit in"
        right = f"200,000 a second or more{DEMODULATED}"
        raise PlanError([Problem(heard.name, what, right, code="sample-rate-too-low")])
    sources = channels(reference)
    if not 1 <= reference_channel <= len(sources):
        what = f"{reference.name} has no channel {reference_channel}"
        raise PlanError([Problem("reference_channel", what, f"1 to {len(sources)}", code="no-such-channel")])
    source = sources[reference_channel - 1]
    most = round((MOST_S + search_us * 1e-6) * source.rate_hz)
    composite = source.read(0, min(source.frames, most))
    if not np.all(np.isfinite(composite)):
        what = f"holds {np.count_nonzero(~np.isfinite(composite))} samples that are no number or infinite"
        raise PlanError([Problem(source.name, what, "a recording of finite samples", code="recording-not-finite")])
    signals = None
    if network is not None and at is not None:
        signals = point_signals(network, lat_deg=at[0], lon_deg=at[1], as_set=as_set, ground=ground).signals[
            :_MOST_SITES
        ]
        if not signals:
            where = Problem(
                "at", "no site of the plan is heard there", "a place that a site covers", code="no-site-heard"
            )
            raise PlanError([where])
    expected = tuple(s.arrival_us - min(o.arrival_us for o in signals) for s in signals) if signals else ()
    found = paths(
        composite, heard.samples, reference_rate_hz=source.rate_hz, rate_hz=heard.rate_hz,
        deviation_hz=1e3 * deviation_khz, search_us=search_us, spread_us=spread_us, expected_us=expected,
        where=heard.name, tell=tell,
    )  # fmt: skip
    problems = [*heard.problems, *found.problems]
    if heard.duration_s > MOST_S:
        what = f"only the first {MOST_S:g} of {heard.duration_s:.0f} s were used"
        problems.append(
            Problem(heard.name, what, "a recording of some seconds", "warning", code="recording-used-in-part")
        )
    response: Response | None = None
    rows: tuple[str, ...] = ()
    if signals is not None and at is not None:
        response = assign(
            [p.delay_us for p in found.paths], level_db=[p.level_db for p in found.paths],
            sites=[s.site for s in signals], arrival_us=[s.arrival_us for s in signals],
            level_dbuvm=[s.level_dbuvm for s in signals], launch_uncertainty_us=launch_uncertainty_us,
        )  # fmt: skip
        rows = _rows(found, response, at=at, mark=_mark(heard.samples), when=when, by=by)
    return Arrivals(heard.name, source.name, found, response, rows, tuple(problems))


def _rows(
    found: Paths, response: Response, *, at: tuple[float, float], mark: str, when: str, by: str
) -> tuple[str, ...]:
    """Rows of the sure, parted paths against the strongest of them, with what they share."""
    usable = [
        k for k, (p, e) in enumerate(zip(found.paths, response.echoes, strict=True))
        if p.parted and e.site is not None and not e.ambiguous
    ]  # fmt: skip
    if len(usable) < 2:
        return ()
    top = max(usable, key=lambda k: found.paths[k].level_db)
    others = [k for k in usable if k != top]
    c = found.covariance_us2
    # Errors of two differences against one reference go together by this much.
    joint = [c[top, top] - c[k, top] - c[j, top] + c[k, j] for k in others for j in others if k != j]
    rows = []
    for k in others:
        sigma_us = math.sqrt(c[k, k] + c[top, top] - 2 * c[k, top])
        shared_us = math.sqrt(max(float(np.mean(joint)) if joint else c[top, top], 0.0))
        shared_us = min(max(shared_us, 0.02 * sigma_us), 0.98 * sigma_us)
        site, reference = response.echoes[k].site, response.echoes[top].site
        difference_us = found.paths[k].delay_us - found.paths[top].delay_us
        name = f"{at[0]:.5f} {at[1]:.5f} {mark}"
        doubt = (found.doubt,) if found.doubt else ()
        rows.append(_line(when, "recording", f"{at[0]:.6f}", f"{at[1]:.6f}", site, reference, f"{difference_us:.4f}",
                          f"{sigma_us:.4g}", "antenna", by, name, f"{shared_us:.4g}", *doubt))  # fmt: skip
    return tuple(rows)


def _line(*cells: str | None) -> str:
    """One line of a table, quoted where a cell holds a comma."""
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue()


def _mark(samples: np.ndarray[tuple[int, ...], np.dtype[np.complex128]]) -> str:
    """What tells one recording from another at the same place."""
    return hashlib.sha256(samples[: 1 << 16].astype("<c16").tobytes()).hexdigest()[:8]


def _in_range(name: str, value: float, *, low: float, high: float, unit: str) -> None:
    """Refuse a value that makes no sense."""
    if not low <= value <= high:
        what, expected = f"{value:g} {unit} is out of range", f"{low:g} to {high:g} {unit}"
        raise PlanError([Problem(name, what, expected, code="out-of-range", fields=(name,))])
