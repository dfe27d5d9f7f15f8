"""S/N by phase of each programme: the shipped tables, and what is made of them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sfn.plan.programme import TABULATED, Programme
from sfn.systems.fm import local_table, snr, snr_local
from sfn.systems.fm_carried import USUAL, carried_by, heard_programme, local_of, programme_says, statistics_of, table_of
from sfn.systems.fm_causes import COMBINATIONS, Nodes, combination, load, main, node_of, programmes_of, write
from sfn.systems.fm_programme import KINDS, noise_programme
from sfn.systems.fm_simulation import Ray, two_path_snr
from sfn.systems.fm_table import QUANTITIES
from tests.sfn.networks import example

STEREO = QUANTITIES.index("stereo")


def test_a_document_may_name_every_programme_that_is_tabulated() -> None:
    """The document's pairs are those of the tables; another is refused in words."""
    assert TABULATED == COMBINATIONS
    for kind in KINDS:
        for emphasis_us, dbr in TABULATED:
            assert load(combination(kind, emphasis_us, dbr)).snr_db["delay"].shape == (4, 14, 44, 12)
    with pytest.raises(ValueError, match="75 us with \\+0 dBr is not worked out; choose 50 us with"):
        Programme(pre_emphasis_us=75)


def test_nodes_are_found_again_on_the_full_grid() -> None:
    """Four cases of a loud, dense programme by the plain two-path simulation, four times as fine, seed by seed."""
    nodes = combination("dense", 75, 6)
    stored = load(nodes).snr_db["delay"][STEREO]
    column = 20
    delay_us = float(nodes.of_cause("delay")[column])
    for row, phase in ((3, 4), (5, 8), (7, 0), (10, 6)):
        found = [
            two_path_snr(
                noise_programme(seed, stereo=True, emphasis_us=75.0, level_dbr=6.0, kind="dense"),
                Ray(-nodes.level_difference_db[row], delay_us),
                phase_rad=[np.pi * nodes.phase_turn[phase]],
                mode="stereo",
            )[0]
            for seed in nodes.seeds
        ]
        assert stored[row, column, phase] == pytest.approx(np.mean(found), abs=0.3), (row, phase)


def test_statistics_over_phase_agree_with_the_finer_table() -> None:
    """The usual programme has both: medians and deciles within 1.5 dB rms where they can be heard."""
    coarse = statistics_of(load(USUAL))
    rng = np.random.default_rng(3)
    level, delay = rng.uniform(0, 15, 200), np.exp(rng.uniform(np.log(0.5), np.log(60), 200))
    for mode in ("mono", "stereo"):
        for statistic in ("median", "decile"):
            ours = snr(level, delay, mode=mode, statistic=statistic, table=coarse)
            finer = snr(level, delay, mode=mode, statistic=statistic)
            heard = finer < 55
            assert np.sqrt(((ours - finer)[heard] ** 2).mean()) < 1.5, (mode, statistic)


def test_a_louder_programme_bears_less() -> None:
    """At 3 us and 6 dB each step of multiplex power costs stereo decibels, whatever the sound."""
    for kind in KINDS:
        quiet, loud = (local_of(combination(kind, 50, dbr), "stereo") for dbr in (0, 3))
        assert float(snr_local(6.0, 3.0, local=loud)) < float(snr_local(6.0, 3.0, local=quiet)) - 2


def test_a_document_without_a_programme_gives_what_it_gave() -> None:
    """The usual programme is the table that shipped before, and what is assumed is said."""
    network = example()
    assert carried_by(network) == USUAL
    assert local_of(USUAL, "stereo").noise == pytest.approx(local_table("stereo").noise)
    assert heard_programme(network).endswith("50 µs, 0 dBr (the document names none)")
    named = network.model_copy(update={"programme": Programme(kind="dense", pre_emphasis_us=75, multiplex_dbr=6)})
    assert heard_programme(named) == programme_says(combination("dense", 75, 6))
    assert table_of(carried_by(named)).parameters.emphasis_us == 75.0


def test_a_table_of_other_parameters_is_refused(tmp_path: Path) -> None:
    """A file under another programme's name is found out, and so is one that is none."""
    write(tmp_path / Nodes(kind="speech").file_name(), load(USUAL))
    with pytest.raises(ValueError, match="numbers do not belong to its parameters"):
        load(Nodes(kind="speech"), tmp_path)
    (tmp_path / Nodes(kind="dense").file_name()).write_text("no table")
    with pytest.raises(ValueError, match="this is no table of this version"):
        load(Nodes(kind="dense"), tmp_path)
    with pytest.raises(SystemExit):
        main(["--out", str(tmp_path / "absent")])


def test_other_causes_disturb_as_the_simulation_says() -> None:
    """One per cent of deviation undoes alignment at equal times; more of it disturbs more."""
    deviation = load(USUAL).snr_db["deviation"][QUANTITIES.index("mono")]
    one = USUAL.deviation_ratio.index(0.01)
    three_db = USUAL.level_difference_db.index(3.0)
    evenly = np.interp(np.linspace(0, 1, 101), USUAL.phase_turn, deviation[three_db, one])
    assert np.median(evenly) == pytest.approx(49.7, abs=3.5)  # facts of this project, other seeds
    assert (np.diff(deviation[three_db, :, 6]) < 0).all()


def test_a_node_is_made_as_the_shipped_ones() -> None:
    """One seed, few levels and phases: the program gives what stands in the file, within a seed's 3 dB."""
    few = replace(USUAL, seeds=(1,), level_difference_db=(3.0, 6.0), phase_turn=(0.0, 0.5, 1.0))
    made = node_of(few, programmes_of(few), "delay", float(USUAL.of_cause("delay")[25]))
    stored = load(USUAL).snr_db["delay"][:, [5, 7], 25][:, :, [0, 4, 11]]
    assert made[:3] == pytest.approx(stored[:3], abs=3)
