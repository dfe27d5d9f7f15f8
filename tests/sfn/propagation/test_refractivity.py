"""The ITU's maps that a user brings: read between nodes, refused in words."""

from pathlib import Path

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.propagation.refractivity import refractivity_at


def test_maps_are_read_between_their_nodes(tmp_path: Path) -> None:
    """A map that is linear in latitude, and one that is in longitude, give their own values anywhere."""
    lat, lon = np.linspace(90.0, -90.0, 121)[:, None], np.linspace(0.0, 360.0, 241)[None, :]
    np.savetxt(tmp_path / "DN50.TXT", 60.0 + 0.3 * lat + 0.0 * lon)
    np.savetxt(tmp_path / "N050.TXT", 300.0 + 0.2 * lon + 0.0 * lat)
    for lat_deg, lon_deg in ((47.3, 8.4), (-33.9, 18.4), (0.0, 359.99), (12.7, -61.5), (90.0, 0.0), (-90.0, 180.0)):
        found = refractivity_at(tmp_path, lat_deg, lon_deg)
        assert found.delta_n == pytest.approx(60.0 + 0.3 * lat_deg, abs=1e-6)
        assert found.surface_refractivity_n0 == pytest.approx(300.0 + 0.2 * (lon_deg % 360.0), abs=1e-6)


def test_what_is_no_map_is_named(tmp_path: Path) -> None:
    """A missing map, and one of other values, both in one answer."""
    np.savetxt(tmp_path / "N050.TXT", np.full((121, 241), 5.0))
    with pytest.raises(PlanError) as refused:
        refractivity_at(tmp_path, 47.0, 8.0)
    said = str(refused.value)

    assert "DN50.TXT is not there" in said
    assert "N050.TXT holds no map of values from 200 to 500" in said
