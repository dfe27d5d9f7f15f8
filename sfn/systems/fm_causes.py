"""FM S/N by carrier phase, for each programme: what shares of listeners come from, and the program that makes it.

``python -m sfn.systems.fm_causes --out sfn/systems/fm_tables`` makes every table that ships: three programmes, 50 us at
0 and +3 dBr, 75 us at +3 and +6 dBr. Partial results are kept beside the output; an interrupted run goes on.

A second signal disturbs by its delay, and by what a lock sheet keeps small: another deviation, another phase of the
pilot, another carrier. Each is a cause with nodes of its own, simulated alone; noise powers of causes add.

symbol  name                 unit  meaning
------  -------------------  ----  ----------------------------------------------------
u       phase_turn           -     carrier phase over pi: 0 in step, 1 opposed
"""

import argparse
import hashlib
import json
import sys
import zipfile
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.plan.programme import TABULATED
from sfn.systems.fm_programme import KINDS, LINE_HZ, PILOT_HZ, Kind, Lines, Programme, noise_programme, waveform
from sfn.systems.fm_simulation import SAMPLES, Ray, noise_ratio, phase_difference, signal_phase, two_path_error
from sfn.systems.fm_table import LARGEST_DB, QUANTITIES, rds_ratio

CAUSES = ("delay", "deviation", "pilot", "carrier")
COMBINATIONS = TABULATED  # pre-emphasis [us], multiplex power [dBr]: what a document may ask for
FOLDER = Path(__file__).with_name("fm_tables")
_CASES = 32
_TENTHS = 10  # S/N is stored in tenths of a dB


@dataclass(frozen=True, slots=True)
class Nodes:
    """All that the numbers of a table depend on; levels from `coarse_from_db` on take every other phase."""

    kind: Kind = "light"
    emphasis_us: float = 50.0
    level_dbr: float = 0.0
    seeds: tuple[int, ...] = (1, 2)
    deviation_seeds: tuple[int, ...] = (1, 2, 3, 4, 5, 6)  # its noise rests on the lowest tones, which scatter
    model: int = 1  # raise when simulation or programmes change
    level_difference_db: tuple[float, ...] = (
        *(0.0, 0.25, 0.5, 1.0, 2.0, 3.0, 4.0),
        *(6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0),
    )
    coarse_from_db: float = 8.0
    phase_turn: tuple[float, ...] = (0.0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.87, 0.93, 0.97, 1.0)
    delay_from_us: float = 0.25
    delay_to_us: float = 128.0
    delays: int = 44
    grid_part: int = 4  # of the simulation's grid: 304 kHz changes no S/N by 0.2 dB but at single phases below 0.5 dB
    deviation_ratio: tuple[float, ...] = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1)
    pilot_deg: tuple[float, ...] = (2.0, 5.0, 10.0, 20.0, 45.0, 90.0, 180.0)
    carrier_hz: tuple[float, ...] = (20.0, 100.0, 400.0, 1200.0, 4000.0, 10_000.0)

    def of_cause(self, cause: str) -> NDArray[np.float64]:
        """Nodes of one cause: us, ratio over 1, degrees at 19 kHz, Hz; all above 0."""
        if cause == "delay":
            return np.geomspace(self.delay_from_us, self.delay_to_us, self.delays)
        return np.array({"deviation": self.deviation_ratio, "pilot": self.pilot_deg, "carrier": self.carrier_hz}[cause])

    def text(self) -> str:
        """The parameters as JSON, always in the same order."""
        return json.dumps(asdict(self), sort_keys=True)

    def checksum(self) -> str:
        """SHA-256 of the text, in hex."""
        return hashlib.sha256(self.text().encode()).hexdigest()

    def file_name(self) -> str:
        """Name of the file that ships."""
        return f"{self.kind}-{self.emphasis_us:g}us-{self.level_dbr:g}dbr.npz"


@dataclass(frozen=True, slots=True)
class PhaseTable:
    """S/N by cause: each (4 quantities, levels, nodes of the cause, phases). [dB]

    Means in dB over the seeds; pilot and carrier of the first seed alone.
    """

    nodes: Nodes
    snr_db: dict[str, NDArray[np.float64]]


def difference(programme: Programme, cause: str, node: float) -> NDArray[np.float64]:
    """Phase of a second signal over the first that differs in one respect alone, on the grid. [rad]"""
    if cause == "delay":
        return phase_difference(programme, Ray(0.0, node))
    if cause == "deviation":
        return phase_difference(programme, Ray(0.0, 0.0, 0.0, node))
    if cause == "carrier":
        return phase_difference(programme, Ray(0.0, 0.0, node))
    other = with_pilot_turned(programme.multiplex, node)
    return waveform(signal_phase(other) - signal_phase(programme.multiplex), SAMPLES)


def with_pilot_turned(multiplex: Lines, pilot_deg: float) -> Lines:
    """A stereo multiplex whose pilot is turned, and its 38 kHz carrier by twice as much, as one clock turns both."""
    turned = multiplex.copy()
    frequency_hz = np.arange(multiplex.shape[-1]) * LINE_HZ
    turned[frequency_hz > PILOT_HZ] *= np.exp(2j * np.radians(pilot_deg))
    turned[round(PILOT_HZ / LINE_HZ)] *= np.exp(1j * np.radians(pilot_deg))
    return turned


def simulated(programme: Programme, delta_rad: NDArray[np.float64], nodes: Nodes) -> NDArray[np.float64]:
    """S/N (1 mono or 3 others, levels, phases) of one programme and difference. [dB]"""
    levels, turns = np.array(nodes.level_difference_db), np.array(nodes.phase_turn)
    cases = [(i, j) for i, level in enumerate(levels) for j in _phases_at(nodes, level)]
    top = programme.audio.shape[-1]
    lines_n = programme.multiplex.size if programme.stereo else top
    delta_rad = np.ascontiguousarray(delta_rad[:: nodes.grid_part])
    out = np.full((3 if programme.stereo else 1, levels.size, turns.size), np.nan)
    for start in range(0, len(cases), _CASES):
        i, j = np.array(cases[start : start + _CASES]).T
        error = two_path_error(delta_rad, level_difference_db=levels[i], phase_rad=np.pi * turns[j], lines_n=lines_n)
        if programme.stereo:
            out[:, i, j] = (
                noise_ratio(programme, error, mode="stereo"),
                noise_ratio(programme, error[:, :top], mode="mono-of-stereo"),
                rds_ratio(error),
            )
        else:
            out[0, i, j] = noise_ratio(programme, error, mode="mono")
    for i, level in enumerate(levels):
        used = _phases_at(nodes, level)
        for quantity in out:
            quantity[i] = np.interp(turns, turns[used], quantity[i, used])
    return np.asarray(np.minimum(out, LARGEST_DB))


def _phases_at(nodes: Nodes, level_db: float) -> list[int]:
    """Which phases are simulated at a level difference: all where the two nearly cancel, else every other one."""
    count = len(nodes.phase_turn)
    return [*range(0, count - 1, 2), count - 1] if level_db >= nodes.coarse_from_db else list(range(count))


def node_of(nodes: Nodes, sent: dict[bool, list[Programme]], cause: str, node: float) -> NDArray[np.float64]:
    """One node of a cause, shape (4, levels, phases). [dB]"""
    count = {"delay": len(nodes.seeds), "deviation": len(nodes.deviation_seeds)}.get(cause, 1)
    means = [
        np.mean(
            [simulated(each, difference(each, cause, node), nodes) for each in sent[stereo][:count]],
            axis=0,
        )
        if stereo or cause != "pilot"
        else np.full((1, len(nodes.level_difference_db), len(nodes.phase_turn)), LARGEST_DB)  # mono has no pilot
        for stereo in (False, True)
    ]
    return np.asarray(np.concatenate(means))


def programmes_of(nodes: Nodes) -> dict[bool, list[Programme]]:
    """The realisations that a table averages over, mono (False) and stereo (True)."""
    return {
        stereo: [
            noise_programme(
                seed, stereo=stereo, emphasis_us=nodes.emphasis_us, level_dbr=nodes.level_dbr, kind=nodes.kind
            )
            for seed in nodes.deviation_seeds
        ]
        for stereo in (False, True)
    }


def build(nodes: Nodes, partial: Path | None = None) -> PhaseTable:
    """All nodes of one table; goes on from `partial`."""
    shape = (len(QUANTITIES), len(nodes.level_difference_db), len(nodes.phase_turn))
    found = {cause: np.full((nodes.of_cause(cause).size, *shape), np.nan) for cause in CAUSES}
    if partial is not None and partial.exists():
        with np.load(partial) as kept:
            if str(kept["checksum"]) == nodes.checksum():
                found = {cause: kept[cause] for cause in CAUSES}
    sent = programmes_of(nodes)
    for cause in CAUSES:
        for k, node in enumerate(nodes.of_cause(cause)):
            if np.isnan(found[cause][k]).any():
                found[cause][k] = node_of(nodes, sent, cause, float(node))
                if partial is not None and k % 8 == 7:
                    np.savez(partial, checksum=np.array(nodes.checksum()), **found)  # type: ignore[arg-type, unused-ignore]
    return PhaseTable(nodes, {cause: values.transpose(1, 2, 0, 3) for cause, values in found.items()})


def write(path: Path, table: PhaseTable) -> None:
    """Store a table with its parameters and their checksum."""
    stored = {cause: np.round(values * _TENTHS).astype(np.int16) for cause, values in table.snr_db.items()}
    np.savez_compressed(
        path,
        parameters=np.array(table.nodes.text()),
        checksum=np.array(table.nodes.checksum()),
        **stored,  # type: ignore[arg-type, unused-ignore]
    )


def combination(kind: Kind, emphasis_us: float, level_dbr: float) -> Nodes:
    """The parameters of the table that ships for a programme.

    Raises
    ------
    ValueError
        If none ships for it, with those that do.
    """
    if kind not in KINDS or (emphasis_us, level_dbr) not in COMBINATIONS:
        listed = ", ".join(f"{emphasis} us with {level:+d} dBr" for emphasis, level in COMBINATIONS)
        raise ValueError(
            f"no table for a {kind} programme with {emphasis_us:g} us at {level_dbr:+g} dBr; there are "
            f"{', '.join(KINDS)}, each for {listed}"
        )
    return Nodes(kind, float(emphasis_us), float(level_dbr))


@cache
def load(nodes: Nodes, folder: Path = FOLDER) -> PhaseTable:
    """The table of these parameters.

    Raises
    ------
    ValueError
        If the file is no such table, or belongs to other parameters.
    """
    path = folder / nodes.file_name()
    try:
        with np.load(path) as stored:
            checksum = str(stored["checksum"])
            snr_db = {cause: stored[cause].astype(np.float64) / _TENTHS for cause in CAUSES}
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as wrong:
        raise ValueError(f"{path.name}: this is no table of this version; make it with fm_causes") from wrong
    if checksum != nodes.checksum():
        raise ValueError(f"{path.name}: its numbers do not belong to its parameters; make it again with fm_causes")
    return PhaseTable(nodes, snr_db)


def main(arguments: list[str] | None = None) -> int:
    """Make every table, or those named that are not there."""
    parser = argparse.ArgumentParser(prog="python -m sfn.systems.fm_causes", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder to write to")
    parser.add_argument("--kind", choices=KINDS, help="this programme alone")
    given = parser.parse_args(arguments)
    if not given.out.is_dir():
        parser.error(f"--out must be a folder that exists, got {given.out}")
    for emphasis_us, level_dbr in COMBINATIONS:
        for kind in sorted(KINDS, key=("light", "dense", "speech").index):
            nodes = replace(Nodes(), kind=kind, emphasis_us=float(emphasis_us), level_dbr=float(level_dbr))
            path = given.out / nodes.file_name()
            if path.exists() or (given.kind and kind != given.kind):
                continue
            partial = path.with_suffix(".partial.npz")
            write(path, build(nodes, partial))
            partial.unlink(missing_ok=True)
            print(path.name, file=sys.stderr, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
