"""What a receiver makes of any list of signals, computed or measured.

SIGNALS.csv has the columns level_dbuvm,delay_us and optionally level_1pct_dbuvm,site and, for FM with --direct,
carrier_offset_hz,deviation_mismatch_pct. OTHERS.csv: spacing_khz,level_dbuvm and optionally interference (steady or
tropospheric); answered in `unrelated`: `wanted_dbuvm`, and for `mono` and `stereo` the fields that are needed
(`steady_dbuvm`, `tropospheric_dbuvm`), `margin_db`, `snr_db`. JSON keys: `service`, `kind`,
`sites` (names of the list). OFDM: `strategies`, each with `strategy`, `window_us`, `backoff_us` (null: it
has none), `equaliser_start_us` and `equaliser_us` (null: no limit), `wanted_dbuvm`, `interference_dbuvm` (null: none),
`ci_db`, `cni_db`, `required_cn_db` (of its profile of arrivals), `margin_db`, `wanted` and `hurts` (places in the list
from 0) and `signals` (`place`, `late_us` after the window's t0, `weight` useful and `against` interfering, as parts of
its power); `chosen` (the strategy that counts) and `risk`, `noise_dbuvm`, `required_cn_db` (as planned with),
`required_cn_profile` (`rice_db`, `rayleigh_db`, `echo_db`), `threshold_db`, `strongest_alone_margin_db`,
`least_favourable`. 8-VSB: `margin_db`, `cn_db`, `required_cn_db`, `noise_dbuvm`,
`wanted`, `hurts`, `echoes` (`place`, `late_us`, `du_db`, `needed_db`, `margin_db`, `outside_mask`), `mask`,
`status` of the mask. FM: `mono`, `stereo` and `mono-of-stereo`, each with `snr_median_db` (two signals only),
`snr_mean_db`, `snr_decile_db`, `snr_local_db` (worst tenth, local spread), `implementation_margin_db` (not taken off),
`label`; `rds` (`ratio_local_db`, `needed_db`, `hit`), `amplitude_sum_ratio`, `multi_ray_fade_risk`, `programme`
(in words), `source`. With --direct also
`snr_median_half_width_db` and so on for each figure: half of the 95 % interval that chance leaves (null: at the cap of
60 dB), `draws` (simulated sets of levels and phases) and `settled` (false: they ended before that was under 1 dB).
"""

import argparse
import sys
from pathlib import Path
from typing import Any

from sfn.cli.table import add_json, print_json, print_table
from sfn.cli.tries import add_window
from sfn.errors import PlanError, Problem
from sfn.study.signals import signals_answer, unrelated_answer
from sfn.systems.fm_causes import combination
from sfn.systems.fm_programme import KINDS
from sfn.systems.ofdm_window import MAP_STRATEGY, Placing
from sfn.systems.service import service
from sfn.systems.signal_list import SignalList, read_others, read_signal_list

NAME = "signals"
SUMMARY = "what a receiver makes of a list of signals"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("signals_file", metavar="SIGNALS.csv", help="list of signals; - reads standard input")
    parser.add_argument("--service", required=True, help="as python -m sfn services names it")
    parser.add_argument("--services-file", help="your own TOML file of services, beside the shipped ones")
    parser.add_argument("--frequency-mhz", type=float, help="carrier, for the noise field (OFDM, 8-VSB)")
    add_window(parser, "OFDM: the strategy that counts")
    parser.add_argument("--programme", choices=KINDS, help="FM: what is heard; light where not given")
    parser.add_argument("--pre-emphasis-us", type=int, choices=(50, 75), help="FM: 50 where not given")
    parser.add_argument("--multiplex-dbr", type=int, choices=(0, 3, 6), help="FM: multiplex power; 0 where not given")
    parser.add_argument("--direct", action="store_true", help="simulate all signals together (FM)")
    parser.add_argument(
        "--others", type=Path, metavar="OTHERS.csv", help="FM: services with other programmes, judged by ITU-R BS.412"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Read the list, answer it."""
    of = service(args.service, own_services=args.own_services)
    signals = _read(args.signals_file)
    if args.threshold_db is not None and not 0 <= args.threshold_db <= 200:
        raise PlanError(
            [Problem("--threshold-db", f"cannot be {args.threshold_db!r}", "from 0 to 200 dB", code="out-of-range")]
        )
    if of.kind != "fm" and (args.programme or args.pre_emphasis_us or args.multiplex_dbr is not None):
        raise PlanError(
            [
                Problem(
                    "--programme",
                    "and its kind are of FM alone",
                    "an FM service, or none of them",
                    code="service-not-fm",
                )
            ]
        )
    try:
        answer = signals_answer(
            signals,
            of,
            placing=Placing(args.strategy or MAP_STRATEGY, args.backoff_us, args.threshold_db),
            frequency_mhz=args.frequency_mhz,
            direct=args.direct,
            programme=combination(args.programme or "light", args.pre_emphasis_us or 50, args.multiplex_dbr or 0),
        )
    except ValueError as error:
        raise PlanError(
            [Problem("arguments", str(error), "see python -m sfn signals --help", code="arguments-unusable")]
        ) from None
    if args.others is not None:
        answer |= _unrelated(args.others, of.kind, float(signals.level_dbuvm.max()))
    if args.json:
        print_json(answer)
    else:
        _TABLES[of.kind](answer, signals)
    return 0


def _unrelated(path: Path, kind: str, wanted_dbuvm: float) -> dict[str, Any]:
    """What other services ask for."""
    if kind != "fm":
        raise PlanError([Problem("--others", "is judged for FM alone", "an FM service", code="service-not-fm")])
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise PlanError(
            [Problem("--others", f"{path.name} cannot be read", "a CSV file in UTF-8", code="file-unreadable")]
        ) from None
    return {"unrelated": unrelated_answer(read_others(text, source=path.name), wanted_dbuvm)}


def _read(path: str) -> SignalList:
    """The list in a file, or on standard input."""
    try:
        text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise PlanError(
            [Problem("file", f"cannot be read: {error.strerror}", "a CSV file of signals", code="file-unreadable")]
        ) from None
    except UnicodeDecodeError:
        raise PlanError(
            [Problem("file", "is not UTF-8 text", "a CSV file of signals", code="file-unreadable")]
        ) from None
    return read_signal_list(text)


def _named(answer: dict[str, Any], place: int | None) -> str:
    """A signal by its name, or by its line."""
    if place is None:
        return "none"
    return answer["sites"][place] if "sites" in answer else f"signal {place + 1}"


def _decibels(value: float | None, nothing: str = "none") -> str:
    """A level or ratio for people."""
    return nothing if value is None else f"{value:.2f}"


def _ofdm_table(answer: dict[str, Any], signals: SignalList) -> None:
    """A line for each strategy, least favourable named."""
    print_table(
        (
            "strategy",
            "window us",
            "back-off us",
            "wanted dBuV/m",
            "interf. dBuV/m",
            "C/I dB",
            "C/(N+I) dB",
            "needed dB",
            "margin dB",
            "hurts",
        ),
        [
            (
                row["strategy"],
                f"{row['window_us']:.3f}",
                _decibels(row["backoff_us"], "-"),
                _decibels(row["wanted_dbuvm"]),
                _decibels(row["interference_dbuvm"]),
                _decibels(row["ci_db"], "no limit"),
                _decibels(row["cni_db"]),
                _decibels(row["required_cn_db"]),
                _decibels(row["margin_db"]),
                _named(answer, row["hurts"]),
            )
            for row in answer["strategies"]
        ],
    )
    needed = answer["required_cn_profile"]
    print(
        f"counted: {answer['chosen']}; risk: {answer['risk']}; least favourable: {answer['least_favourable']}; "
        "no receiver exceeds best"
    )
    print(
        f"required C/N {needed['rice_db']:.1f} dB for one signal, {needed['rayleigh_db']:.1f} for many, "
        f"{needed['echo_db']:.1f} for two equal ones; noise as a field {answer['noise_dbuvm']:.1f} dBuV/m, "
        f"{len(signals.delay_us)} signals"
    )


def _vsb_table(answer: dict[str, Any], signals: SignalList) -> None:
    """A line for each echo."""
    print_table(
        ("echo", "later us", "D/U dB", "needed dB", "margin dB"),
        [
            (_named(answer, e["place"]), f"{e['late_us']:.3f}", f"{e['du_db']:.2f}", f"{e['needed_db']:.2f}",
             f"{e['margin_db']:.2f}")
            for e in answer["echoes"]
        ],
    )  # fmt: skip
    print(
        f"margin of {len(signals.delay_us)} signals and noise together {answer['margin_db']:.2f} dB; "
        f"the echo mask is {answer['status']}"
    )


def _fm_table(answer: dict[str, Any], signals: SignalList) -> None:
    """A line for each way of listening."""
    modes = ("mono", "stereo", "mono-of-stereo")
    print_table(
        ("S/N dB", "median", "mean", "worst decile", "local", "receiver margin", "verdict"),
        [
            (
                mode,
                *(_figure(answer[mode], name) for name in ("median", "mean", "decile", "local")),
                f"{answer[mode]['implementation_margin_db']:.0f}",
                answer[mode]["label"],
            )
            for mode in modes
        ],
    )
    local = "local: worst tenth of phases over the local spread"
    print(f"from the {answer['source']}, {len(signals.delay_us)} signals; {local}")
    print(f"programme: {answer['programme']}")
    if answer["draws"]:
        grown = "" if answer["settled"] else "; they ended before that was under 1 dB"
        print(f"+-: chance, 95 % of the time within it; {answer['draws']} sets of levels and carrier phases{grown}")
    for mode, found in answer.get("unrelated", {}).items():
        if mode != "wanted_dbuvm":
            print(f"other services, {mode}: margin {_decibels(found['margin_db'])} dB, S/N {found['snr_db']:.1f} dB")


def _figure(entry: dict[str, Any], name: str) -> str:
    """An S/N, with what chance leaves where it was simulated."""
    half_db = entry.get(f"snr_{name}_half_width_db")
    value = entry[f"snr_{name}_db"]
    return _decibels(value, "-") if half_db is None else f"{value:.1f} +-{max(half_db, 0.1):.1f}"


_TABLES = {"ofdm": _ofdm_table, "vsb": _vsb_table, "fm": _fm_table}
