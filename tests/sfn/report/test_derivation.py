"""The derivation names every quantity that the model gives, and no other."""

import tomllib

from sfn.field.path import path_levels
from sfn.field.transmitter import Transmitter
from sfn.report.derivation import NAMES_FILE, derivation
from sfn.terrain.ground import Ground, GroundWindow, ground_window
from sfn.terrain.ridge import ridge

SUMMIT = Transmitter(
    id="summit", lat_deg=36.19833, lon_deg=-84.23083, ground_m=1076.0, antenna_m=60.0, erp_h_kw=3.0, erp_v_kw=0.0,
    frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip


def test_every_intermediate_has_its_row() -> None:
    """Names of the model and names of the table are the same set, each once."""
    levels = path_levels(SUMMIT, 36.335, -84.2, ground=GroundWindow(), rx_height_m=1.5)
    named = [
        row[0] for group in tomllib.loads(NAMES_FILE.read_text(encoding="utf-8"))["group"] for row in group["rows"]
    ]

    assert sorted(levels.loss[0].intermediates) == sorted(named)
    assert sorted(named) == sorted(row.name for part in derivation(levels) for row in part.rows)


def test_what_hangs_on_time_shows_a_number_for_each_percentage() -> None:
    """Geometry is the same at all percentages, the loss is not."""
    levels = path_levels(SUMMIT, 36.335, -84.2, ground=GroundWindow(), rx_height_m=1.5, time_pct=(50.0, 10.0, 1.0))
    rows = {row.name: row for part in derivation(levels) for row in part.rows}

    assert rows["hts"].same
    assert ("1\u202f136.00",) * 3 == rows["hts"].values
    assert not rows["Lb"].same
    assert 3 == len(set(rows["Lb"].values))


def test_free_space_near_by_shows_what_there_is() -> None:
    """Nearer than P.1812 begins only free space is shown."""
    levels = path_levels(SUMMIT, 36.1985, -84.2308, ground=GroundWindow(), rx_height_m=1.5)

    assert {"d", "hts", "hrs", "ae", "theta_t", "theta_r", "Lbfs", "Lb", "Ep"} == {
        row.name for part in derivation(levels) for row in part.rows
    }


def test_without_a_loss_there_is_no_derivation() -> None:
    """Off the terrain nothing is derived."""
    window = ground_window(Ground(terrain=ridge()), south_deg=36.0, west_deg=-84.41, north_deg=36.44, east_deg=-84.08)

    assert () == derivation(path_levels(SUMMIT, 36.05, -84.2, ground=window, rx_height_m=1.5))
