"""The answer of ``loss`` for people."""

from typing import Any, cast

from sfn.cli.table import problem_lines
from sfn.report.second_path import later_ms, second_path_said
from sfn.stream.advise import spoken
from sfn.stream.paths import PRODUCTS
from sfn.units import counted


def in_words(seconds: object) -> str:
    """A time between errors as people say it."""
    return spoken(seconds) if isinstance(seconds, float) else "never"


def table(answer: dict[str, object], *, drift_kept: bool) -> list[str]:
    """The answer for people."""
    rows = answer.get("comparison", [answer])
    burst = answer["mean_burst_packets"]
    kind = "bursts of" if answer["start_probability"] else "independent; runs of"
    whole = "everything is lost" if answer["loss_ratio"] else "nothing is lost"
    lines = [
        f"loss {answer['loss_ratio']:.3g}, {kind} {counted(cast(float, burst), 'packet')} on average"
        if burst
        else whole,
        *([str(answer["losses_taken_as"])] if answer["losses_taken_as"] else []),
        *_tied(answer),
        "",
        f"{'protection':46}{'residual loss':>16}{'audible error every':>22}{'waits, ms':>11}{'packets x':>11}",
    ]
    assert isinstance(rows, list)
    for row in rows:
        less = "< " if row["residual_kind"] == "less than" else ""
        more = "> " if row["errors_kind"] == "less than" else ""
        lines.append(
            f"{row['protection']:46}{less + format(row['residual_loss_ratio'], '.3g'):>16}"
            f"{more + in_words(row['error_every_s']):>22}{row['wait_us'] / 1000:>11.1f}"
            f"{row['packet_rate_factor']:>11.2f}"
        )
        if row["residual_kind"] == "estimate":
            within = f"{row['residual_low_ratio']:.2g} to {row['residual_high_ratio']:.2g}"
            lines.append(f"{'':46}{within:>16}  (99 %)")
        if "differential_us" in answer and "second path" in row["protection"]:
            lines.append(f"{'':46}{_later(answer)}")
    lines.append(
        "(an audible error: a run of packets, one after the other, that stay lost; counted alike in every row)"
    )
    lines += _measured_table(answer, drift_kept=drift_kept)
    return lines + problem_lines(cast(list[dict[str, Any]], answer["problems"]))


def _tied(answer: dict[str, object]) -> list[str]:
    """What a second path is taken to share with the first."""
    joint, tie = answer["joint_loss_ratio"], answer["second_path_taken_as"]
    if joint is None:
        return []
    assumed = tie in PRODUCTS
    product = answer.get("product_loss_ratio", joint)
    said = f"{product:.3g} of the packets would be lost on both" if assumed else f"{joint:.3g} lost on both"
    return [f"second path: {tie}: {said}"]


def _later(answer: dict[str, object]) -> str:
    """What a plan adds for the second path, beside the waits that do not hold it: the figure of the sentence below."""
    if cast(float, answer["second_longer_us"]) <= 0:
        return "and nothing more for the second path: see below"
    return f"and in a plan {later_ms(answer)} ms more for the second path: see below"


def _streams(answer: dict[str, object]) -> list[str]:
    """What the captures hold, which stream is followed, and what changed in it."""
    lines = []
    for key, name in (("streams", "capture"), ("second_streams", "second capture")):
        rows = answer.get(key, [])
        assert isinstance(rows, list)
        lines += [
            f"{name}: {'followed' if row['followed'] else 'left out'} ({row['why']}): UDP port {row['port']}, "
            f"RTP source {row['source']}, "
            f"payload type {row['payload_type']} ({row['carries']}), {counted(row['packets_n'], 'packet')}"
            for row in rows
        ]
    for key, name in (("changes", "capture"), ("second_changes", "second capture")):
        rows = answer.get(key, [])
        assert isinstance(rows, list)
        for row in rows:
            step = "" if row["step_us"] is None else f" of {row['step_us'] / 1000:.1f} ms"
            lines.append(f"{name}: {row['kind']}{step} at {row['at_s']:.3f} s{_MEANT[row['kind']]}")
    return lines


_MEANT = {
    "restart": ": put on the level before it, for its time stamps begin anew",
    "source change": ": put on the level before it, for its time stamps begin anew",
    "clock step": ": taken out of the delays, no packet arrives before the one before it",
    "clock or path step": ": left in the delays",
}


def _drift(drift_ppb: object, *, kept: bool) -> str:
    """What the capturing clock does against the sender's."""
    if kept:
        return "drift: none taken out of the delays (--keep-drift)"
    if not isinstance(drift_ppb, float):
        return (
            "drift: taken out of the delays; its size is unknown: the sender's packet time is not given nor one in use"
        )
    return f"drift: the capturing clock runs {drift_ppb / 1000:+.3f} us/s against the sender's; taken out of the delays"


def _unbounded(answer: dict[str, object]) -> list[str]:
    """Why the protection and the release delay offered may not do: what the record cannot show."""
    needs, steps = cast(list[dict[str, object]], answer["hours_need"]), cast(list[Any], answer["release_steps"])
    open_ = [one for one in needs if not one["errors_bounded"]]
    lines = [
        f"  the hour from {one['hour_of_day']:02d}:00, protection {one['protection']}: the record is too short or "
        f"too clean to bound errors at one a week: it only shows that they are rarer than one every "
        f"{in_words(one['errors_bounded_every_s'])}"
        for one in open_
    ]
    return lines + [
        f"  this release delay holds the step of {one['step_us'] / 1000:.1f} ms at {one['at_s']:.3f} s: if the "
        "capturing clock stepped and not the path, it is wrong by as much: find out, or record again"
        for one in steps
    ]


def _measured_table(answer: dict[str, object], *, drift_kept: bool) -> list[str]:
    """What was measured, for people."""
    if "packets_n" not in answer:
        return []
    high = answer["variation_high_us"]
    known = f"{high / 1000:.2f}" if isinstance(high, float) else "unknown: the record is too short"
    lines = [
        "",
        f"{answer['lost_n']} of {counted(cast(int, answer['packets_n']), 'packet')} lost; "
        f"{answer['reordered_n']} out of order, {answer['duplicates_n']} twice",
        *_streams(answer),
        _drift(answer["drift_ppb"], kept=drift_kept),
        f"all but {answer['late_probability']:g} come within {answer['variation_us'] / 1000:.2f} ms of the least "  # type: ignore[operator]
        f"(99 %: at most {known})",
        f"{'hour':>6}{'packets':>10}{'lost':>8}{'bursts':>8}{'within, ms':>12}"
        + ("  (the later copy of both paths, above the first's least)" if "differential_us" in answer else ""),
    ]
    rows = answer["hours"]
    assert isinstance(rows, list)
    for row in rows:
        within = "-" if row["variation_us"] is None else f"{row['variation_us'] / 1000:.2f}"
        lines.append(f"{row['hour_of_day']:>6}{row['packets_n']:>10}{row['lost_n']:>8}{row['bursts_n']:>8}{within:>12}")
    unmet = cast(list[int], answer["release_unmet_hours"])
    if unmet:
        hours = f"the hour{'s' if len(unmet) > 1 else ''} from {', '.join(f'{hour:02d}:00' for hour in unmet)}"
        lines.append(f"no release delay: none of the usual protections leaves an error a week at most in {hours}")
    if answer["release_above_least_us"] is not None:
        release_ms = cast(float, answer["release_above_least_us"]) / 1000
        told = {problem["code"] for problem in cast(list[dict[str, Any]], answer["problems"])}
        as_far = " as far as they were compared" if "records-compared-in-part" in told else ""
        short = not all(row["variation_sure"] for row in cast(list[dict[str, Any]], answer["hours_need"]))
        doubt = "the record is too short to be sure of its delay variation" if short else "not sure: see the warnings"
        lines.append(
            f"one release delay for every hour's protection (an error a week): {release_ms:.0f} ms above the least, "
            f"decided by {answer['release_decided_by']}"
            + (f"; it covers the later copy of both paths{as_far}" if "differential_us" in answer else "")
            + ("" if answer["release_sure"] else f"; {doubt}")
        )
        lines += _unbounded(answer)
    if "second_longer_us" in answer:
        lines.append(f"{second_path_said(answer)} (stream --second-path --differential-ms)")
    if "independent" in answer:
        tie = "independent as far as can be told" if answer["independent"] else "they fail together"
        found, chance = answer["joint_packets_n"], answer["expected_joint_packets"]
        lines.append(f"both paths: {counted(cast(int, found), 'packet')} lost on both, {chance:.1f} by chance: {tie}")
    return lines
