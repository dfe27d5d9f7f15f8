"""`python -m sfn path` on a bare profile."""

import json

import pytest

from sfn.cli import main

HEADER = "distance_km,ground_m,cover_m,zone\n"
OPTIONS = {
    "--frequency-mhz": "600", "--tx-height-m": "150", "--rx-height-m": "10", "--polarisation": "H",
    "--time-pct": "50", "--tx": "50,7", "--rx": "50.4496,7",
}  # fmt: skip


@pytest.fixture
def flat(tmp_path):
    """A flat profile of 50 km at sea level."""
    file = tmp_path / "flat.csv"
    file.write_text(HEADER + "".join(f"{i / 10},0,0,inland\n" for i in range(501)))
    return file


def command(file, **changes):
    """Arguments of the command; a changed option of None is left out."""
    options = OPTIONS | {f"--{name.replace('_', '-')}": value for name, value in changes.items()}
    return ["path", "--profile", str(file), *(p for o, v in options.items() if v is not None for p in (o, v))]


def test_published_value_from_a_file(flat, capsys):
    """The 50 km path over flat ground gives the reference loss, with its intermediates."""
    assert main([*command(flat), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)

    assert abs(answer["loss_db"] - 132.813905) < 1e-5
    assert abs(answer["field_dbuvm"] - (199.36 - 4.436975 - 132.813905)) < 1e-4
    assert abs(answer["intermediates"]["Ldsph50"] - 10.871446) < 1e-6


def test_table_for_people(flat, capsys):
    """Without --json the result stands first, with its units."""
    assert main(command(flat)) == 0
    first = capsys.readouterr().out.splitlines()[:2]

    assert first == [
        "loss                132.81 dB",
        "field strength       62.11 dBuV/m for 1 kW e.r.p.",
    ]


def test_southern_positions_need_no_trick(flat, capsys):
    """A latitude with a minus sign is taken as a value, and the answer is that of the north."""
    losses = []
    for changes in ({}, {"tx": "-50,-7", "rx": "-50.4496,-7"}):
        assert main([*command(flat, **changes), "--json"]) == 0
        losses.append(json.loads(capsys.readouterr().out)["loss_db"])

    assert losses[0] == losses[1]


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"frequency_mhz": "0.6"}, "path: frequency_mhz: must be from 30 to 6000 MHz, got 0.6"),
        ({"time_pct": "0.01"}, "path: --time-pct: cannot be '0.01'; a number from 1 to 50"),
        ({"tx": "50"}, "path: --tx: is '50'; LAT,LON in decimal degrees, such as 51.48,-3.18"),
        ({"rx": None}, "path: --rx: is missing; the receiver's position, LAT,LON in decimal degrees"),
    ],
)
def test_unusable_options_are_named(flat, capsys, changes, text):
    """An option that cannot be used gives exit code 2 and one line that names it."""
    assert main(command(flat, **changes)) == 2
    assert capsys.readouterr().err == text + "\n"


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ("distance_km,ground_m\n0,0\n", "line 1: has the columns distance_km,ground_m; distance_km,ground_m,cover_m,"),
        ("", "line 1: has the columns nothing; distance_km,ground_m,cover_m,zone"),
        (HEADER, ": has no points; at least 2 lines below the header"),
        (HEADER + "0,0,0,inland\n1,high,0,inland\n", "line 3: ground_m is 'high'; a number"),
        (HEADER + "0,0,0,inland\n1,nan,0,inland\n", "line 3: ground_m is 'nan'; a number"),
        (HEADER + "0,0,0,ocean\n", "line 2: zone is 'ocean'; inland or coast or sea"),
        (HEADER + "0,0,0\n", "line 2: has 3 cells; 4 cells"),
        (HEADER + "1,0,0,sea\n2,0,0,sea\n", "path: distance_km: must begin at 0 km (the transmitter), got 1.0"),
        (HEADER + "0,0,0,sea\n2,0,0,sea\n1,0,0,sea\n", "path: distance_km: must grow from point to point, got 1.0 km"),
    ],
)
def test_unusable_profiles_are_refused_by_line(tmp_path, capsys, content, text):
    """A profile that cannot be used gives exit code 2 and the line that is wrong."""
    file = tmp_path / "profile.csv"
    file.write_text(content)

    assert main(command(file)) == 2
    assert text in capsys.readouterr().err


def test_missing_file_is_no_traceback(tmp_path, capsys):
    """A file that is not there is said to be so."""
    assert main(command(tmp_path / "none.csv")) == 2
    assert "none.csv: cannot be read: no such file or directory; a CSV file in UTF-8" in capsys.readouterr().err
