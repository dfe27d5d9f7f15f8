"""The table of FM S/N over level and delay difference: its axes, its nodes, and the program that makes it.

``python -m sfn.systems.fm_table --out sfn/systems/fm_table.npz`` makes the table that ships (50 us, 0 dBr);
``--emphasis-us 75`` and ``--level-dbr 3`` make others. Partial results are kept beside the output, so that an
interrupted run goes on where it stopped.
"""

import argparse
import hashlib
import json
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.systems.fm_decoder import FIT_BAND_LINES
from sfn.systems.fm_programme import AUDIO_HZ, LINE_HZ, PILOT_KHZ, SAMPLE_RATE_HZ, Programme, noise_programme, rms
from sfn.systems.fm_simulation import Ray, noise_ratio, phase_difference, phases, two_path_error

QUANTITIES = ("mono", "stereo", "mono-of-stereo", "rds")
STATISTICS = ("median", "decile", "mean")
LARGEST_DB = 120.0  # stored S/N is limited to this; answers end at 60 dB
RDS_KHZ = 1.0  # rms of the RDS subcarrier at +-2 kHz deviation (typical, from memory), half its peak
RDS_HALF_WIDTH_HZ = 2400.0
_CASES = 64


@dataclass(frozen=True, slots=True)
class Parameters:
    """All that the numbers of a table depend on; `level_difference_db` are its rows.

    Carrier phases lie on half a circle (the other half mirrors it; seeds take turns): `near_phases` of them up to
    `near_to_db`, where the cancellation is narrow, else `far_phases`.
    """

    emphasis_us: float = 50.0
    programme_level_db: float = 0.0
    side_level_db: float = -6.0
    delay_from_us: float = 0.1
    delay_to_us: float = 200.0
    delays: int = 64
    near_to_db: float = 3.0
    near_phases: int = 32
    far_phases: int = 8
    sample_rate_hz: float = SAMPLE_RATE_HZ
    line_hz: float = LINE_HZ
    pilot_khz: float = PILOT_KHZ
    audio_to_hz: float = AUDIO_HZ
    fit_band_hz: float = FIT_BAND_LINES * LINE_HZ
    model: int = 1  # raise when the simulation itself changes
    seeds: tuple[int, ...] = (1, 2, 3, 4)
    level_difference_db: tuple[float, ...] = (
        *(0.0, 0.1, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0),
        *(5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0),
    )

    def delays_us(self) -> NDArray[np.float64]:
        """Columns of the table, equally spaced in the logarithm. [us]"""
        return np.geomspace(self.delay_from_us, self.delay_to_us, self.delays)

    def text(self) -> str:
        """The parameters as JSON, always in the same order."""
        return json.dumps(asdict(self), sort_keys=True)

    def checksum(self) -> str:
        """SHA-256 of the text, in hex."""
        return hashlib.sha256(self.text().encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Table:
    """Nodes of a table: `snr_db` (4 quantities, 3 statistics, levels, delays), not limited to 60 dB."""

    parameters: Parameters
    snr_db: NDArray[np.float64]


def programmes(parameters: Parameters, *, stereo: bool) -> list[Programme]:
    """The realisations of the programme that a table averages over."""
    return [
        noise_programme(
            seed,
            stereo=stereo,
            emphasis_us=parameters.emphasis_us,
            level_dbr=parameters.programme_level_db,
            side_db=parameters.side_level_db,
        )
        for seed in parameters.seeds
    ]


def column(
    parameters: Parameters, sent: list[Programme], delay_difference_us: float, level_difference_db: tuple[float, ...]
) -> NDArray[np.float64]:
    """Nodes of the table at one delay difference.

    Parameters
    ----------
    parameters : Parameters
        Of the table.
    sent : list of Programme
        From `programmes`, all mono or all stereo.
    delay_difference_us : float
        Delay difference. [us]
    level_difference_db : tuple of float
        Level differences, 0 or more. [dB]

    Returns
    -------
    snr_db : ndarray, shape (1 or 3, 3, levels)
        "mono", or "stereo", "mono-of-stereo" and "rds"; median, worst decile and mean noise power over the
        carrier phase. Quantiles are taken for each seed and averaged in dB. [dB]
    """
    by_seed = []
    for number, programme in enumerate(sent):
        delta_rad = phase_difference(programme, Ray(0.0, delay_difference_us))
        cases = [(level, psi) for level in level_difference_db for psi in _phases_at(parameters, level)]
        level, psi = np.array(cases).T
        psi = psi if number % 2 == 0 else -psi
        found = np.concatenate(
            [
                _measured(programme, delta_rad, level[start : start + _CASES], psi[start : start + _CASES])
                for start in range(0, level.size, _CASES)
            ],
            axis=1,
        )
        by_seed.append(np.stack([_statistics(found[:, level == wanted]) for wanted in level_difference_db], axis=2))
    stacked = np.array(by_seed)
    out: NDArray[np.float64] = stacked.mean(axis=0)
    out[:, 2] = -10 * np.log10((10 ** (-stacked[:, :, 2] / 10)).mean(axis=0))
    return np.minimum(out, LARGEST_DB)


def _phases_at(parameters: Parameters, level_db: float) -> NDArray[np.float64]:
    """Half a circle of carrier phases, finer where the two signals nearly cancel."""
    near = level_db <= parameters.near_to_db
    return phases(parameters.near_phases if near else parameters.far_phases, half=True)


def _measured(
    programme: Programme, delta_rad: NDArray[np.float64], level_db: NDArray[np.float64], psi_rad: NDArray[np.float64]
) -> NDArray[np.float64]:
    """S/N (1 or 3, cases) of some cases."""
    top = programme.audio.shape[-1]
    lines_n = programme.multiplex.size if programme.stereo else top
    error = two_path_error(delta_rad, level_difference_db=level_db, phase_rad=psi_rad, lines_n=lines_n)
    if not programme.stereo:
        return noise_ratio(programme, error, mode="mono")[None]
    return np.stack(
        [
            noise_ratio(programme, error, mode="stereo"),
            noise_ratio(programme, error[:, :top], mode="mono-of-stereo"),
            rds_ratio(error),
        ]
    )


def rds_ratio(error: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Level of an RDS subcarrier of +-2 kHz over the error in its band, 57 +- 2.4 kHz, from lines (..., k). [dB]"""
    low, high = (round((57_000 + side * RDS_HALF_WIDTH_HZ) / LINE_HZ) for side in (-1, 1))
    return np.asarray(20 * np.log10(RDS_KHZ / np.maximum(rms(error[..., low - 1 : high + 1]), 1e-9)))


def _statistics(snr_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median, worst decile and power mean over the last axis, on a new second axis."""
    median, decile = np.quantile(snr_db, [0.5, 0.1], axis=-1, method="hazen")
    mean = -10 * np.log10((10 ** (-snr_db / 10)).mean(axis=-1))
    return np.stack([median, decile, mean], axis=-1)


def build(parameters: Parameters, partial: Path | None = None) -> Iterator[tuple[int, NDArray[np.float64]]]:
    """Nodes (4, 3, levels, delays) after each delay difference done; NaN: not yet. Goes on from `partial`."""
    shape = (len(QUANTITIES), len(STATISTICS), len(parameters.level_difference_db), parameters.delays)
    snr_db = np.full(shape, np.nan)
    if partial is not None and partial.exists():
        with np.load(partial) as kept:
            if str(kept["checksum"]) == parameters.checksum():
                snr_db = kept["snr_db"]
    mono, stereo = programmes(parameters, stereo=False), programmes(parameters, stereo=True)
    for k, delay_us in enumerate(parameters.delays_us()):
        if np.isnan(snr_db[..., k]).any():
            snr_db[0, ..., k] = column(parameters, mono, delay_us, parameters.level_difference_db)[0]
            snr_db[1:, ..., k] = column(parameters, stereo, delay_us, parameters.level_difference_db)
            if partial is not None:
                np.savez(partial, snr_db=snr_db, checksum=parameters.checksum())
        yield k, snr_db


def write(path: Path, snr_db: NDArray[np.float64], parameters: Parameters) -> None:
    """Store a table with its parameters and their checksum, S/N in hundredths of a dB."""
    np.savez_compressed(
        path,
        snr_cdb=np.round(snr_db * 100).astype(np.int16),
        parameters=np.array(parameters.text()),
        checksum=np.array(parameters.checksum()),
    )


def load(path: Path | None = None) -> Table:
    """A table of S/N, by default the one that ships.

    Parameters
    ----------
    path : Path, optional
        File written by this module. Default: 50 us, 0 dBr.

    Raises
    ------
    ValueError
        If the file is no such table, or was changed: its checksum is not that of the parameters in it, or its
        shape is not theirs.

    Examples
    --------
    >>> load().parameters.emphasis_us
    50.0
    """
    file = Path(__file__).with_name("fm_table.npz") if path is None else path
    try:
        with np.load(file) as stored:
            kept: dict[str, Any] = json.loads(str(stored["parameters"]))
            snr_db = stored["snr_cdb"] / 100.0
            checksum = str(stored["checksum"])
        kept["seeds"], kept["level_difference_db"] = tuple(kept["seeds"]), tuple(kept["level_difference_db"])
        parameters = Parameters(**kept)
    except (OSError, KeyError, TypeError, ValueError, zipfile.BadZipFile) as wrong:
        raise ValueError(f"{file.name}: this is no table of this version; make it with this module") from wrong
    shape = (len(QUANTITIES), len(STATISTICS), len(parameters.level_difference_db), parameters.delays)
    if checksum != parameters.checksum() or snr_db.shape != shape:
        raise ValueError(f"{file.name}: its numbers do not belong to its parameters; make it again with this module")
    return Table(parameters, snr_db)


def main(arguments: list[str] | None = None) -> int:
    """Make a table."""
    default = Parameters()
    parser = argparse.ArgumentParser(prog="python -m sfn.systems.fm_table", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="table to write (.npz)")
    parser.add_argument("--emphasis-us", type=float, default=default.emphasis_us, help="pre-emphasis, 50 or 75 us")
    parser.add_argument("--level-dbr", type=float, default=default.programme_level_db, help="multiplex power, dBr")
    given = parser.parse_args(arguments)
    parameters = Parameters(emphasis_us=given.emphasis_us, programme_level_db=given.level_dbr)
    try:
        programmes(parameters, stereo=True)
    except ValueError as wrong:
        parser.error(str(wrong))
    if given.out.suffix != ".npz" or not given.out.parent.is_dir():
        parser.error(f"--out must be a file .npz in a folder that exists, got {given.out}")
    partial = given.out.with_suffix(".partial.npz")
    for k, snr_db in build(parameters, partial):
        print(f"{k + 1} of {parameters.delays} delay differences", file=sys.stderr, flush=True)
        if k + 1 == parameters.delays:
            write(given.out, snr_db, parameters)
    partial.unlink(missing_ok=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
