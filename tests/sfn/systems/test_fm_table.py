"""The shipped table is what the simulation gives."""

import secrets
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sfn.systems.fm_table import QUANTITIES, STATISTICS, Parameters, Table, build, column, load, main, programmes, write

HALF_A_STORED_DIGIT_DB = 0.005


@pytest.fixture(scope="module")
def table() -> Table:
    """The table that ships."""
    return load()


def test_the_shipped_table_belongs_to_the_parameters_in_force(table: Table) -> None:
    """Its checksum is that of the parameters that the program would use today."""
    assert Parameters() == table.parameters
    assert Parameters().checksum() == table.parameters.checksum()
    assert table.snr_db.shape == (4, 3, 18, 64)


def test_a_table_that_was_changed_is_refused(tmp_path: Path, table: Table) -> None:
    """Other parameters than those its checksum was made of are found out."""
    file = tmp_path / "table.npz"
    write(file, table.snr_db, table.parameters)
    with np.load(file) as stored:
        parts = dict(stored)
    parts["parameters"] = np.array(replace(table.parameters, emphasis_us=75.0).text())
    np.savez(file, **parts)
    with pytest.raises(ValueError, match=r"table\.npz: its numbers do not belong to its parameters"):
        load(file)


def test_a_file_that_is_no_table_is_refused(tmp_path: Path) -> None:
    """Text, an archive of something else, and nothing at all are answered in words."""
    (tmp_path / "text.npz").write_text("level,delay")
    np.savez(tmp_path / "other.npz", numbers=np.zeros(3))
    for name in ("text.npz", "other.npz", "absent.npz"):
        with pytest.raises(ValueError, match=f"{name}: this is no table of this version"):
            load(tmp_path / name)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--out", "x.npz", "--level-dbr", "50"], "level_dbr must be -8 to 12 dBr, got 50"),
        (["--out", "x.npz", "--emphasis-us", "750"], "emphasis_us must be 0 to 100 us, got 750"),
        (["--out", "absent/x.npz"], "--out must be a file .npz in a folder that exists"),
    ],
)
def test_bad_arguments_are_refused_before_the_work(
    capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """The program ends with 2 and a sentence, not after half an hour."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert said in capsys.readouterr().err


def test_nodes_chosen_afresh_are_found_again(table: Table) -> None:
    """Two columns of a few levels, other ones at each run, computed anew as the table was."""
    seed = secrets.randbits(32)
    print(f"nodes chosen with seed {seed}")
    rng = np.random.default_rng(seed)
    levels = np.array(table.parameters.level_difference_db)
    for stereo, quantities in ((False, slice(0, 1)), (True, slice(1, 4))):
        k = int(rng.integers(table.parameters.delays))
        near = int(rng.integers(8))
        rows = np.sort([near, *rng.choice(np.arange(8, 18), 2, replace=False)])
        sent = programmes(table.parameters, stereo=stereo)
        again = column(table.parameters, sent, table.parameters.delays_us()[k], tuple(levels[rows]))
        stored = table.snr_db[quantities][:, :, rows, k]
        # single-precision sums differ between machines: it shows only where little noise is left
        allowed = HALF_A_STORED_DIGIT_DB + 0.02 + np.where(stored > 80, 0.3, 0.0)
        worst = np.abs(again - stored) - allowed
        assert worst.max() <= 0, f"seed {seed}, delay node {k}, levels {levels[rows]}, over by {worst.max():.3f} dB"


def test_other_realisations_of_the_programme_agree(table: Table) -> None:
    """New noise gives the same S/N within what four quarter-seconds of it scatter."""
    fresh = replace(table.parameters, seeds=(101, 102))
    k = 40
    rows = [8, 11, 15]
    levels = tuple(np.array(table.parameters.level_difference_db)[rows])
    again = column(fresh, programmes(fresh, stereo=True), table.parameters.delays_us()[k], levels)
    assert again[:2] == pytest.approx(table.snr_db[1:3][:, :, rows, k], abs=1.2)


def test_median_decile_and_mean_stand_in_order(table: Table) -> None:
    """The worst decile is at most the median; mean noise is at least half the median's, which half exceeds."""
    median, decile, mean = (table.snr_db[:, STATISTICS.index(name)] for name in ("median", "decile", "mean"))
    assert (decile <= median).all()
    assert (mean <= median + 3.1).all()


def test_small_echoes_gain_what_they_lose(table: Table) -> None:
    """From 25 to 30 dB S/N rises by 5 dB within 0.4 dB, so that beyond 30 dB it may go on so."""
    gained = table.snr_db[:3, :, 17] - table.snr_db[:3, :, 16]
    heard = table.snr_db[:3, :, 17] < 80
    assert gained[heard] == pytest.approx(np.full(heard.sum(), 5.0), abs=0.4)


def test_an_interrupted_run_goes_on(tmp_path: Path) -> None:
    """A small table made in two parts is the table made at once."""
    small = Parameters(
        delays=3,
        delay_from_us=4.0,
        delay_to_us=9.0,
        near_phases=4,
        far_phases=2,
        seeds=(1,),
        level_difference_db=(6.0,),
    )
    partial = tmp_path / "part.npz"
    run = build(small, partial)
    next(run)
    run.close()
    assert partial.exists()
    *_, (count, resumed) = build(small, partial)
    *_, (_, at_once) = build(small)
    assert count == 2
    assert at_once.shape == (len(QUANTITIES), len(STATISTICS), 1, 3)
    assert resumed == pytest.approx(at_once, abs=1e-9)
