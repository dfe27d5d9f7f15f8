"""The commands signals and services: documents, tables, refusals."""

import io
import json
from pathlib import Path

import pytest

from sfn.cli import main

EXAMPLE = "site,level_dbuvm,delay_us\nhill,50,0\ntown,62,100\ncoast,56,290\n"


@pytest.fixture
def listed(tmp_path: Path) -> str:
    """A file with the three signals of the worked example A, 62 dB up."""
    path = tmp_path / "signals.csv"
    path.write_text(EXAMPLE, encoding="utf-8")
    return str(path)


def document(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict:
    """The JSON document that a command prints."""
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_every_strategy_is_answered(listed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Five strategies in their order, with the C/I of the worked example and the agreed keys."""
    answer = document(capsys, "signals", "--service", "dvb-t-8k-1/4-8mhz", listed)
    rows = answer["strategies"]

    assert (answer["service"], answer["kind"]) == ("dvb-t-8k-1/4-8mhz", "ofdm")
    assert [r["strategy"] for r in rows] == ["strongest", "first", "centre-of-gravity", "quasi-optimal", "best"]
    assert [r["ci_db"] for r in rows] == pytest.approx([10.75, 2.02, 4.19, 8.75, 10.77], abs=0.02)
    assert {"window_us", "wanted_dbuvm", "interference_dbuvm", "cni_db", "margin_db"} <= set(rows[0])
    assert answer["sites"][rows[0]["hurts"]] == "hill"


def test_the_threshold_is_taken(listed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """With 10 dB instead of 20 the first signal no longer counts for "first"."""
    answer = document(capsys, "signals", "--service", "dvb-t-8k-1/4-8mhz", "--threshold-db", "10", listed)

    assert answer["strategies"][1]["ci_db"] == pytest.approx(8.77, abs=0.02)


def test_the_carrier_moves_the_noise(listed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """At half the frequency the same gain catches 6 dB more: noise as a field is 6 dB less."""
    noise = [
        document(capsys, "signals", "--service", "dvb-t-8k-1/4-8mhz", "--frequency-mhz", f, listed)["noise_dbuvm"]
        for f in ("400", "800")
    ]

    assert noise[1] - noise[0] == pytest.approx(6.02, abs=0.01)


def test_echo_mask(listed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """8-VSB gives each echo its margin and says that the mask is recalled."""
    answer = document(capsys, "signals", "--service", "8-vsb", listed)

    assert (answer["kind"], answer["status"]) == ("vsb", "from memory")
    assert [e["outside_mask"] for e in answer["echoes"]] == [True, True]


@pytest.mark.parametrize(
    ("service_id", "words"),
    [
        ("dab-mode-1", "counted: quasi-optimal; risk: strongest"),
        ("8-vsb", "the echo mask is from memory"),
        ("fm-stereo", "local: worst tenth of phases over the local spread"),
    ],
)
def test_tables_for_people(listed: str, capsys: pytest.CaptureFixture[str], service_id: str, words: str) -> None:
    """Without --json people get a table with names and the verdict under it."""
    assert main(["signals", "--service", service_id, listed]) == 0

    out = capsys.readouterr().out
    assert words in out
    assert "3 signals" in out


def test_standard_input(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A minus sign reads the list from standard input."""
    monkeypatch.setattr("sys.stdin", io.StringIO(EXAMPLE))

    assert document(capsys, "signals", "--service", "dab-mode-1", "-")["kind"] == "ofdm"


@pytest.mark.parametrize(
    ("text", "options", "line"),
    [
        ("level_dbuvm,delay_us\n60,zero\n", [], "line 2, column delay_us: 'zero' is no number; a number from"),
        (EXAMPLE, ["--service", "dab-mode-7"], "service: there is no service 'dab-mode-7'; one of dab-mode-"),
        (EXAMPLE, ["--threshold-db=-1"], "--threshold-db: cannot be -1.0; from 0 to 200 dB"),
        (EXAMPLE, ["--frequency-mhz", "0"], "frequency_mhz must be from"),
        (EXAMPLE, ["--direct"], "--direct simulates FM"),
    ],
)
def test_refusals(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, options: list[str], line: str) -> None:
    """Exit code 2, and one line: file, where, what, what would be right."""
    path = tmp_path / "signals.csv"
    path.write_text(text, encoding="utf-8")

    assert main(["signals", "--service", "dab-mode-1", *options, str(path)]) == 2
    error = capsys.readouterr().err
    assert error.startswith(f"{path}: ")
    assert line in error


def test_a_file_that_is_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    """A missing file is named."""
    assert main(["signals", "--service", "dab-mode-1", "nowhere.csv"]) == 2
    assert capsys.readouterr().err.startswith("nowhere.csv: file: cannot be read")


def test_services_with_their_sources(capsys: pytest.CaptureFixture[str]) -> None:
    """Every service says what it tolerates, how it is known and where each figure comes from."""
    answer = document(capsys, "services")
    listed = {s["id"]: s for s in answer["services"]}

    assert listed["dab-mode-1"]["guard_us"] == pytest.approx(246.09375)
    assert listed["dvb-t-8k-1/4-8mhz"]["guard_km"] == pytest.approx(67.15, abs=0.01)
    assert all(s["document"] and s["status"] and s["minimum_median_source"] for s in listed.values())
    assert "64qam-2/3" in answer["modulations"]["dvb-t"]


def test_services_by_words(capsys: pytest.CaptureFixture[str]) -> None:
    """Words narrow the list; the table ends with documents."""
    assert main(["services", "isdb-t", "mode-3", "6mhz"]) == 0
    out = capsys.readouterr().out

    assert out.count("isdb-t-mode-3") == 4
    assert "ARIB STD-B31" in out


def test_no_such_services(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing found is said, not printed as an empty table."""
    assert main(["services", "teletext"]) == 2
    assert "no id has teletext in it" in capsys.readouterr().err


def test_own_services(tmp_path: Path, capsys: pytest.CaptureFixture[str], listed: str) -> None:
    """A user's file adds services to both commands."""
    path = tmp_path / "own.toml"
    path.write_text(
        'format = 1\n[[service]]\nid = "our-dab"\ncopy_of = "dab-mode-1"\nrequired_cn_db = 12\n', encoding="utf-8"
    )
    margins = [
        document(capsys, "signals", "--services-file", str(path), "--service", s, listed)["strategies"][0]["margin_db"]
        for s in ("dab-mode-1", "our-dab")
    ]

    assert margins[1] - margins[0] == pytest.approx(3)
    assert document(capsys, "services", "--services-file", str(path), "our-dab")["services"][0]["id"] == "our-dab"


def test_fm_from_the_table_and_by_simulation(listed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """FM gives mono and stereo S/N; --direct the same by simulating the signals, within what echoes combine to."""
    table = document(capsys, "signals", "--service", "fm-stereo", listed)
    direct = document(capsys, "signals", "--service", "fm-stereo", "--direct", listed)

    assert (table["kind"], table["source"], direct["source"]) == ("fm", "table", "simulation")
    for mode in ("mono", "stereo"):
        assert table[mode]["snr_median_db"] is None
        assert direct[mode]["snr_mean_db"] == pytest.approx(table[mode]["snr_mean_db"], abs=3)


@pytest.mark.parametrize("service_id", ["dab-mode-1", "8-vsb", "fm-mono"])
def test_every_key_is_described_in_the_help(listed: str, capsys: pytest.CaptureFixture[str], service_id: str) -> None:
    """No key is printed that ``--help`` does not speak of."""
    answer = document(capsys, "signals", "--service", service_id, listed)
    keys = set(answer) | {
        k for rows in answer.values() if isinstance(rows, list) for r in rows if isinstance(r, dict) for k in r
    }
    with pytest.raises(SystemExit):
        main(["signals", "--help"])
    text = " ".join(capsys.readouterr().out.split()).replace("- ", "-")  # argparse breaks lines at hyphens

    assert [key for key in sorted(keys) if f"`{key}`" not in text] == []


def test_the_programme_counts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Dense music at +6 dBr bears less than the usual programme, and the answer says which it was."""
    path = tmp_path / "fm.csv"
    path.write_text("level_dbuvm,delay_us\n60,0\n54,3\n", encoding="utf-8")
    usual = document(capsys, "signals", "--service", "fm-stereo", str(path))
    loud = ("--programme", "dense", "--pre-emphasis-us", "75", "--multiplex-dbr", "6")
    dense = document(capsys, "signals", "--service", "fm-stereo", *loud, str(path))
    assert dense["stereo"]["snr_local_db"] < usual["stereo"]["snr_local_db"] - 3
    assert dense["programme"].startswith("dense, processed music")
    assert usual["programme"].endswith("50 µs, 0 dBr")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--service", "fm-stereo", "--pre-emphasis-us", "75"], "no table for a light programme with 75 us at +0 dBr"),
        (["--service", "dab-mode-1", "--programme", "dense"], "are of FM alone; an FM service"),
    ],
)
def test_a_programme_that_is_none_is_refused(
    listed: str, capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    """A pair that is not worked out, and a service that is no FM."""
    assert main(["signals", *options, listed]) == 2
    assert said in capsys.readouterr().err
