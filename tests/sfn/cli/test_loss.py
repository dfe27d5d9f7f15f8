"""The loss command: its document, its table, its refusals."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from sfn.cli import main
from tests.sfn.stream.test_streams import stream, written


def answer(arguments: str, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """The document that the command prints."""
    assert 0 == main(["loss", *arguments.split(), "--json"])
    document: dict[str, object] = json.loads(capsys.readouterr().out)
    return document


def test_column_parity_under_bursts(capsys: pytest.CaptureFixture[str]) -> None:
    """1e-3 in bursts of 4 against columns 10 x 10: the closed form, and its wait of 100 packets."""
    ours = answer("--loss-pct 0.1 --burst-packets 4 --packet-ms 1 --parity column --columns 10 --rows 10", capsys)

    assert "exact" == ours["residual_kind"]
    assert 1.1232e-4 == pytest.approx(ours["residual_loss_ratio"], abs=1e-8)
    assert 100_000 == ours["wait_us"]
    assert 1.1 == ours["packet_rate_factor"]


def test_second_path_has_its_own_model(capsys: pytest.CaptureFixture[str]) -> None:
    """Loss ratios of the paths multiply; packets are sent twice."""
    ours = answer("--loss-pct 0.1 --second-loss-pct 2 --packet-ms 1 --second-path", capsys)

    assert 2e-5 == pytest.approx(ours["residual_loss_ratio"], rel=1e-9)
    assert 2.0 == ours["packet_rate_factor"]


def test_every_key_is_described_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    keys = list(answer("--loss-pct 1 --packet-ms 4 --compare --blocks 5000", capsys))
    with pytest.raises(SystemExit):
        main(["loss", "--help"])
    text = " ".join(capsys.readouterr().out.split())

    assert [] == [key for key in keys if f"`{key}`" not in text]


def test_a_source_is_read_as_the_help_says(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Digits alone are decimal, not the SSRC as hexadecimal digits: 22 is 0x16, and the refusal names it so."""
    file = tmp_path / "two.pcap"
    file.write_bytes(written(stream(np.arange(300), source=0x22)))
    with pytest.raises(SystemExit):
        main(["loss", "--help"])
    said = " ".join(capsys.readouterr().out.split())

    assert "HEX" not in said
    assert "0xabcd1234 as the answer prints it, or in decimal" in said
    assert 2 == main(["loss", "--capture", str(file), "--packet-ms", "4", "--source", "22"])
    assert "source 0x00000016" in capsys.readouterr().err
    assert 300 == answer(f"--capture {file} --packet-ms 4 --source 0x22", capsys)["packets_n"]
    assert 300 == answer(f"--capture {file} --packet-ms 4 --source 34", capsys)["packets_n"]


def test_what_a_restart_ends_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Both lose 10 packets before the sender begins anew at 20 s, and 40 behind it: 10 of 5000 are counted, and said."""
    names = []
    for seed in (1, 2):
        before = np.setdiff1d(np.arange(5000), np.arange(2000, 2010))
        behind = np.setdiff1d(np.arange(3000), np.arange(1000, 1040))
        sent = stream(before, seed=seed) + stream(behind, seed=seed + 5, begin_s=1020.0, number=50_000, stamp=9)
        names.append(tmp_path / f"{seed}.pcap")
        names[-1].write_bytes(written(sorted(sent)))
    asked = f"--capture {names[0]} --second-capture {names[1]} --second-path --packet-ms 4"
    ours = answer(asked, capsys)
    (doubt,) = [one for one in ours["problems"] if one["code"] == "records-compared-in-part"]

    assert 10 == ours["joint_packets_n"]
    assert (5000, 3000) == pytest.approx((doubt["values"]["compared_n"], doubt["values"]["left_n"]), abs=3)
    assert not ours["release_sure"]
    assert 0 == main(["loss", *asked.split()])
    assert "of the 8000 that both records span are in no figure of both paths" in capsys.readouterr().out

    names[0].write_bytes(written(stream(np.arange(4000))))  # it ends before the second begins anew: nothing is left out
    assert "records-compared-in-part" not in {one["code"] for one in answer(asked, capsys)["problems"]}


def test_the_comparison_orders_rows_below_columns(capsys: pytest.CaptureFixture[str]) -> None:
    """Against bursts rows do almost nothing, columns more, a second path most; the table says so."""
    assert 0 == main("loss --loss-pct 0.1 --burst-packets 4 --packet-ms 1/3 --compare --blocks 20000".split())
    out = capsys.readouterr().out

    assert "loss 0.001, bursts of 4 packets on average" in out
    assert "a run of packets, one after the other, that stay lost; counted alike in every row" in out
    assert "rows of 10" in out
    assert "second path" in out


def test_a_rare_residual_has_an_interval(capsys: pytest.CaptureFixture[str]) -> None:
    """Far too rare to be met by chance: a figure with its interval, which a longer run with another seed confirms."""
    arguments = "--loss-pct 0.0001 --burst-packets 2 --packet-ms 1 --parity both --columns 20 --rows 5"
    ours = answer(f"{arguments} --blocks 20000", capsys)
    longer = answer(f"{arguments} --blocks 400000 --seed 5", capsys)

    assert "estimate" == ours["residual_kind"]
    assert 0 < ours["residual_low_ratio"] < longer["residual_loss_ratio"] < ours["residual_high_ratio"] < 1e-11


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--packet-ms 1", "--loss-pct or --capture must be given"),
        ("--loss-pct 1", "--packet-ms must be given"),
        ("--loss-pct 101 --packet-ms 1", "--loss-pct must be from 0 to 100 %, got 101 %"),
        ("--loss-pct 0.1 --packet-ms 0", "--packet-ms must be above 0 to 1000 ms, got 0"),
        ("--loss-pct 0.1 --burst-packets 0 --packet-ms 1", "--burst-packets must be from 1"),
        ("--loss-pct 0.1 --burst-packets 0.5", "--burst-packets must be from 1"),
        ("--loss-pct 101", "--loss-pct must be from 0 to 100 %, got 101 %"),
        ("--loss-pct 90 --burst-packets 3", "--burst-packets must be at least 9 packets where 90 % are lost, got 3"),
        (
            "--loss-pct 1 --second-path --second-burst-packets 0.5",
            "--second-burst-packets must be from 1 to 1e+06 packets, got 0.5",
        ),
        (
            "--loss-pct 1 --second-path --joint-loss-pct 0.5 --joint-burst-packets 0.5",
            "--joint-burst-packets must be from 1 to 1e+06 packets, got 0.5",
        ),
        ("--loss-pct 0.1 --blocks 1 --parity row --columns 5", "--blocks must be from 1000"),
    ],
)
def test_what_cannot_be_worked_out_exits_two(arguments: str, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr, exit 2."""
    assert 2 == main(["loss", *arguments.split()])
    assert text in capsys.readouterr().err


def test_what_both_paths_lose_together(capsys: pytest.CaptureFixture[str]) -> None:
    """A fifth of 1 % strikes both: that is what a second path leaves, and words say where each figure stands on."""
    ours = answer("--loss-pct 1 --burst-packets 4 --packet-ms 1 --second-path --joint-loss-pct 0.2", capsys)
    alone = answer("--loss-pct 1 --burst-packets 4 --packet-ms 1 --second-path", capsys)

    assert 2e-3 == pytest.approx(ours["residual_loss_ratio"], rel=1e-9)
    assert (2e-3, 4.0) == pytest.approx((ours["joint_loss_ratio"], ours["joint_burst_packets"]))
    assert "share of common losses as given" == ours["second_path_taken_as"]
    assert 1e-4 == pytest.approx(alone["residual_loss_ratio"], rel=1e-9)
    assert "assumed independent" == alone["second_path_taken_as"]
    assert 0 == main("loss --loss-pct 1 --packet-ms 1 --second-path".split())
    assert "second path: assumed independent" in capsys.readouterr().out


@pytest.mark.parametrize("extra", ["", " --burst-packets 4", " --second-path", " --parity column --columns 5 --rows 5"])
def test_everything_lost_is_an_answer(extra: str, capsys: pytest.CaptureFixture[str]) -> None:
    """100 %: all of it is left, every packet is an error, no run has a mean."""
    ours = answer(f"--loss-pct 100 --packet-ms 1{extra}", capsys)

    assert (1.0, 1e-3, None) == (ours["residual_loss_ratio"], ours["error_every_s"], ours["mean_burst_packets"])
    assert 0 == main(f"loss --loss-pct 100 --packet-ms 1{extra}".split())
    assert "everything is lost" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--capture x --loss-pct 1", "--loss-pct must not be given together with --capture"),
        ("--capture x --joint-loss-pct 1", "--joint-loss-pct must not be given without --second-path"),
        (
            "--capture x --second-capture y --second-path --joint-loss-pct 1",
            "--joint-loss-pct must not be given together with --second-capture",
        ),
        (
            "--capture x --source def",
            "--source: 'def' is no number of an RTP source, with 0x before it: 0xdef; 0xabcd1234",
        ),
        ("--capture x --source 0x1ffffffff", "--source: '0x1ffffffff' is beyond the 32 bits of an RTP source"),
        ("--loss-pct 1 --packet-ms 1 --port 5004", "--port must not be given without --capture"),
        ("--loss-pct 1 --packet-ms 1 --keep-drift", "--keep-drift must not be given without --capture"),
        ("--loss-pct 1 --packet-ms 1 --second-loss-pct 2", "--second-loss-pct must not be given without --second-path"),
        ("--loss-pct 1 --packet-ms 1 --joint-loss-pct 2", "--joint-loss-pct must not be given without --second-path"),
        ("--loss-pct 1 --packet-ms 1 --second-path --joint-burst-packets 2", "without --joint-loss-pct"),
        (
            "--loss-pct 1 --packet-ms 1 --second-path --joint-loss-pct 0 --joint-burst-packets 2",
            "--joint-burst-packets must not be given where both paths lose nothing together",
        ),
        ("--loss-pct 1 --packet-ms 1 --parity row --columns 5 --rows 4", "--rows must not be given without"),
        ("--loss-pct 1 --packet-ms 1 --parity-spread", "--parity-spread must not be given without"),
        ("--loss-pct 1 --packet-ms 1 --columns 5", "parity must be row, column or both"),
        ("--loss-pct 1 --packet-ms 1 --second-path --joint-loss-pct 2", "--joint-loss-pct must be from 0 to 1 %"),
    ],
)
def test_options_that_would_do_nothing_are_refused(
    arguments: str, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """By name, with what they need; and a common share that cannot be."""
    assert 2 == main(["loss", *arguments.split()])
    assert text in capsys.readouterr().err


def log(positions: list[int], first_s: float = 36_000.0, delay_s: float = 0.005) -> str:
    """A CSV log of packets each 4 ms, with a little delay variation."""
    rows = [f"{p},{first_s + 0.004 * p + delay_s + (p * 7 % 13) * 1e-5:.6f}" for p in positions]
    return "sequence,arrival_s\n" + "\n".join(rows) + "\n"


@pytest.fixture
def logs(tmp_path):
    """Two logs of 20 000 packets: bursts of five on the first, the same and more on the second."""
    first = [p for p in range(20_000) if p % 1000 >= 5]
    second = [p for p in range(20_000) if p % 1000 >= 5 and p % 770 >= 3]
    paths = tmp_path / "a.csv", tmp_path / "b.csv"
    for path, kept in zip(paths, (first, second), strict=True):
        path.write_text(log(kept))
    return paths


def test_a_measured_network(logs, capsys: pytest.CaptureFixture[str]) -> None:
    """Losses, bursts, hour and model of a log; protection is judged by the model fitted to it."""
    ours = answer(f"--capture {logs[0]} --parity column --columns 10 --rows 5", capsys)

    # the first five were never seen: the record begins with packet 5
    assert (19_995, 95) == (ours["packets_n"], ours["lost_n"])
    assert [{"burst_packets": 5, "bursts_n": 19}] == ours["bursts_by_length"]
    assert 5.0 == pytest.approx(ours["mean_burst_packets"])
    assert "fitted to the record" == ours["model_source"]
    assert 4000.0 == pytest.approx(ours["packet_time_us"], rel=1e-6)
    assert [10] == [h["hour_of_day"] for h in ours["hours"]]
    assert 120.0 == pytest.approx(ours["variation_us"], abs=2)
    assert [0.0, 0.0] == [r["both_lost_ratio"] for r in ours["repeats"] if r["repeat_after_packets"] in (5, 10)]


def test_a_measured_network_in_words(logs, capsys: pytest.CaptureFixture[str]) -> None:
    """One record, without --json: a table, and nothing of a second path."""
    assert 0 == main(f"loss --capture {logs[0]}".split())
    said = capsys.readouterr().out

    assert "95 of 19\u202f995 packets lost" in said
    assert "both paths" not in said


def test_an_outage_longer_than_the_record_of_it_is_an_answer(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """One burst of 70 000 packets leaves open whether they last for hours: figures all the same."""
    path = tmp_path / "outage.csv"
    path.write_text(log([*range(3000), *range(73_000, 76_000)]))
    ours = answer(f"--capture {path}", capsys)

    assert [{"burst_packets": 70_000, "bursts_n": 1}] == ours["bursts_by_length"]
    assert ours["residual_loss_ratio"] == pytest.approx(70 / 76)
    assert [10] == ours["release_unmet_hours"]


def test_two_paths_that_fail_together(logs, capsys: pytest.CaptureFixture[str]) -> None:
    """All losses of the first are on the second too: chance does not explain that, and the table says so."""
    ours = answer(f"--capture {logs[0]} --second-capture {logs[1]} --second-path --packet-ms 4", capsys)

    assert 95 == ours["joint_packets_n"]
    assert ours["chance_probability"] < 0.01
    assert not ours["independent"]
    assert 0 == main(f"loss --capture {logs[0]} --second-capture {logs[1]}".split())
    assert "they fail together" in capsys.readouterr().out
    assert 95 / 19_995 == pytest.approx(ours["residual_loss_ratio"], rel=1e-3)
    assert "estimate" == ours["residual_kind"]
    assert ours["residual_low_ratio"] < ours["residual_loss_ratio"] < ours["residual_high_ratio"]


@pytest.mark.parametrize(
    ("step_s", "extra", "words"),
    [
        (0.004 * (1 + 20e-6), "", "runs +20.0"),
        (0.0041234, "", "its size is unknown"),
        (0.004, "--keep-drift", "none taken out of the delays"),
    ],
)
def test_the_drift_is_printed(step_s, extra, words, tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """A clock 20 ppm fast, a packet time that nobody uses, and drift left in."""
    path = tmp_path / "drift.csv"
    path.write_text("sequence,arrival_s\n" + "".join(f"{p},{step_s * p:.7f}\n" for p in range(5000)))
    assert 0 == main(f"loss --capture {path} {extra}".split())
    assert words in next(line for line in capsys.readouterr().out.splitlines() if line.startswith("drift: "))


def test_a_clean_short_record_bounds_no_errors(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """20 000 packets, none lost: at 99 % errors are rarer than one in 20 000 / ln 200 packets, 15.1 s, not a week."""
    path = tmp_path / "clean.csv"
    path.write_text(log(list(range(20_000))))
    ours = answer(f"--capture {path} --packet-ms 4", capsys)
    (need,) = ours["hours_need"]

    assert not need["errors_bounded"]
    assert not ours["release_sure"]
    assert need["errors_bounded_every_s"] == pytest.approx(0.004 * 20_000 / math.log(200), rel=1e-3)
    assert [] == ours["release_steps"]
    assert 0 == main(f"loss --capture {path} --packet-ms 4".split())
    assert "too short or too clean to bound errors at one a week" in capsys.readouterr().out


def test_a_release_delay_is_tied_to_the_step_in_it(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """1.5 s forward amid the record: the release delay holds it, and says so."""
    path = tmp_path / "step.csv"
    second = log(list(range(5000, 10_000)), first_s=36_001.5).split("\n", 1)[1]
    path.write_text(log(list(range(5000))) + second)
    ours = answer(f"--capture {path} --packet-ms 4", capsys)

    assert [1.5e6] == pytest.approx([step["step_us"] for step in ours["release_steps"]], rel=1e-2)
    assert ours["release_above_least_us"] > 1.5e6
    assert 0 == main(f"loss --capture {path} --packet-ms 4".split())
    assert "this release delay holds the step of 1500" in capsys.readouterr().out


def test_one_record_measures_no_joint_loss(logs, capsys: pytest.CaptureFixture[str]) -> None:
    """95 of 19 995 lost: the second path's independence is an assumption in so many words, or its share is typed."""
    line = f"--capture {logs[0]} --packet-ms 4"
    ours = answer(f"{line} --second-path", capsys)
    typed = answer(f"{line} --second-path --joint-loss-pct 0.1", capsys)
    ratio, words = 95 / 19_995, "assumed independent: nothing measured says so"

    assert (words, pytest.approx(ratio**2)) == (ours["second_path_taken_as"], ours["joint_loss_ratio"])
    assert ratio**2 == pytest.approx(ours["residual_loss_ratio"])
    assert "share of common losses as given" == typed["second_path_taken_as"]
    assert (1e-3, 1e-3) == pytest.approx((typed["joint_loss_ratio"], typed["residual_loss_ratio"]))
    for extra in ("--second-path", "--compare --blocks 2000"):
        assert 0 == main(f"loss {line} {extra}".split())
        assert f"second path {words}" in capsys.readouterr().out.replace("path: ", "path ")
    assert "one path" == answer(line, capsys)["second_path_taken_as"]
    assert 2 == main(f"loss {line} --second-path --joint-loss-pct 1".split())
    assert "--joint-loss-pct must be from 0 to 0.475" in capsys.readouterr().err


def test_keys_of_a_measured_network_are_described(logs, capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    keys = list(answer(f"--capture {logs[0]} --second-capture {logs[1]}", capsys))
    with pytest.raises(SystemExit):
        main(["loss", "--help"])
    text = " ".join(capsys.readouterr().out.split())

    assert [] == [key for key in keys if f"`{key}`" not in text]


def test_a_clean_record_is_an_upper_limit(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing lost in 5000 packets leaves up to one in a thousand, and is called an upper limit."""
    path = tmp_path / "clean.csv"
    path.write_text(log(list(range(5000))))
    ours = answer(f"--capture {path}", capsys)

    assert 0 == ours["lost_n"]
    assert 1e-3 == pytest.approx(ours["loss_ratio"], rel=0.2)
    assert "upper limit: nothing was lost in the record" == ours["model_source"]


def test_a_short_clean_record_credits_no_protection(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """500 packets, none lost: 1 - 0.005^(1/500) is all that two seconds show, whatever parity or repeat there is."""
    path = tmp_path / "clean.csv"
    path.write_text(log(list(range(500))))
    ours = answer(f"--capture {path} --packet-ms 4 --compare", capsys)
    limit = 1 - 0.005 ** (1 / 500)

    assert {"estimate"} == {row["residual_kind"] for row in ours["comparison"]}
    assert [limit] * len(ours["comparison"]) == pytest.approx(
        [row["residual_loss_ratio"] for row in ours["comparison"]]
    )
    assert all(row["error_every_s"] == pytest.approx(0.004 / limit) for row in ours["comparison"])
    assert "record-without-losses" in [problem["code"] for problem in ours["problems"]]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("--loss-pct 101", "--loss-pct must be from 0 to 100 %, got 101 %"),
        ("--loss-pct 1 --second-path --joint-loss-pct 1.5", "--joint-loss-pct must be from 0 to 1 %"),
        ("--loss-pct 1 --second-path --joint-interval-pct 0.9,0.6", "the lower first, got 0.9,0.6"),
    ],
)
def test_refusals_name_what_was_typed(line, words, capsys: pytest.CaptureFixture[str]) -> None:
    """The option and its unit as typed, never the engine's ratio."""
    assert 2 == main(f"loss --packet-ms 4 {line}".split())
    said = capsys.readouterr().err
    assert words in said
    assert "ratio" not in said


def test_files_that_cannot_be_read(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """A missing file and a log with a broken line: one line on stderr each, exit 2."""
    path = tmp_path / "bad.csv"
    path.write_text("sequence,arrival_s\n1,2\nx,3\n")

    assert 2 == main(["loss", "--capture", str(tmp_path / "none.csv")])
    assert "cannot be read (No such file or directory)" in capsys.readouterr().err
    assert 2 == main(["loss", "--capture", str(path)])
    assert "line 3: reads 'x,3'; a whole number for the sequence" in capsys.readouterr().err
    assert 2 == main(["loss", "--capture", str(path), "--loss-pct", "1"])
    assert "--loss-pct must not be given together with --capture" in capsys.readouterr().err


def test_numbers_of_packets_stand_as_people_write_them(capsys: pytest.CaptureFixture[str]) -> None:
    """A mean burst of seventy thousand is no power of ten, and one of one is one packet."""
    assert 0 == main("loss --loss-pct 10 --burst-packets 70000 --packet-ms 1 --repeat-after 1".split())
    out = capsys.readouterr().out
    assert "bursts of 70\u202f000 packets on average" in out
    assert "repeat after 1 packet " in out
    assert 0 == main("loss --loss-pct 10 --burst-packets 1 --packet-ms 1".split())
    assert "1 packet on average" in capsys.readouterr().out
