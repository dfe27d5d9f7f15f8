"""Logs as receivers write them: the truth comes back, or what is open is asked; lines that cannot be used are counted."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.log_about import About, Reading
from sfn.survey.log_fixes import fixes_of
from sfn.survey.receiver_level import Receiver, field_of_power_dbuvm
from sfn.survey.receiver_log import receiver_log
from tests.sfn.survey.ugly_logs import FIELD, LAT, LON, MHZ, SITES, Ugly, input_dbm
from tests.sfn.survey.ugly_variants import UGLY

OF = About(("north", "south"), SITES, MHZ)
_RECEIVER = ("antenna_factor_db", "antenna_gain_dbi", "cable_loss_db", "impedance_ohm")


def read(ugly: Ugly) -> object:
    """The log as it is read with what is told beside it."""
    receiver = Receiver(**{name: ugly.how[name] for name in _RECEIVER if name in ugly.how})
    other = {name: value for name, value in ugly.how.items() if name not in _RECEIVER}
    fixes = None if ugly.positions is None else fixes_of(ugly.positions[1], source=ugly.positions[0])
    how = Reading(receiver=receiver, fixes=fixes, **other)
    return receiver_log(ugly.content, source=ugly.source, of=OF, how=how)


@pytest.mark.parametrize("ugly", UGLY, ids=lambda ugly: ugly.name)
def test_the_truth_comes_back_or_is_asked(ugly: Ugly) -> None:
    """Every line at its place with its field strength, but those that are left out by number."""
    if ugly.asked:
        with pytest.raises(PlanError) as asked:
            read(ugly)
        assert [ugly.asked] == [problem.code for problem in asked.value.problems]
        assert asked.value.problems[0].where.startswith(ugly.source)
        return
    found = read(ugly)
    there = np.setdiff1d(np.arange(len(LAT)), ugly.gone)
    assert ugly.skipped == tuple(one.line for one in found.skipped)
    np.testing.assert_allclose(found.lat_deg, LAT[there], atol=ugly.off_deg)
    np.testing.assert_allclose(found.lon_deg, LON[there], atol=ugly.off_deg)
    np.testing.assert_allclose(found.level_dbuvm, FIELD[there], atol=5e-3)
    assert len(ugly.skipped) == sum(int(p.values["lines"]) for p in found.problems)


def test_forty_ways_are_tried() -> None:
    """Each of another name."""
    assert 60 < len({ugly.name for ugly in UGLY}) == len(UGLY)


@pytest.mark.parametrize("gain_dbi", [-8.0, 0.0, 2.15, 11.0])
def test_power_becomes_the_field_that_made_it(gain_dbi: float) -> None:
    """Against the plane wave in SI units (P.525 takes 120 pi for 376.73 ohm: 0.003 dB), and P.525's rounded 167.2."""
    power_dbm = input_dbm(60.0, gain_dbi=gain_dbi)
    assert 60.0 == pytest.approx(field_of_power_dbuvm(power_dbm, frequency_mhz=MHZ, gain_dbi=gain_dbi), abs=0.004)
    rounded = power_dbm - 30.0 - gain_dbi + 20 * np.log10(MHZ / 1000.0) + 167.2
    assert 60.0 == pytest.approx(rounded, abs=0.05)
