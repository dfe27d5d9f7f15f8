"""The answer of ``stream`` for people."""

from sfn.stream import link as links
from sfn.stream.packet import FEC_HEADER_BYTES
from sfn.units import counted


def table(plan: links.LinkPlan, answer: dict[str, object]) -> list[str]:
    """The answer for people."""
    packet = plan.packet
    lines = [
        f"{plan.payload.what}; protection: {plan.protection.in_words()}",
    ]
    if plan.line:
        lines.append(f"no packets: a constant bit stream of {plan.sizes['payload']} bytes each {packet.time_us:g} us")
        lines.append(f"takes {plan.line}")
    else:
        size_says = f"{counted(packet.grains, plan.payload.grain)} a packet"
        lines += [f"{size_says}, {packet.time_us:g} us, {float(packet.rate_hz):.6g} packets/s", ""]
        more = f"(one path; FEC packets have {FEC_HEADER_BYTES} bytes more)"
        lines.append(f"{'layer':12}{'bytes':>8}{'Mbit/s':>12}   {more}")
        lines += [f"{layer:12}{size:>8}{float(plan.rates[layer]) / 1e6:>12.4f}" for layer, size in plan.sizes.items()]
    lines += ["", f"{'element':28}{'us':>12}"]
    lines += [f"{e.name:28}{e.latency_us:>12.1f}   {e.how}" for e in plan.elements]
    total = "release delay, at least" if plan.link.time_stamped else "latency"
    lines += [f"{total:28}{plan.latency_us:>12.1f}   +-{plan.tolerance_us:g}", ""]
    if "dynamic_range_db" in answer:
        whole, dithered = answer["dynamic_range_db"], answer["dithered_range_db"]
        lines.append(f"dynamic range {whole:.1f} dB; dithered, less headroom {dithered:.1f} dB")
    if plan.share_ratio is not None:
        lines.append(f"takes {100 * plan.share_ratio:.1f} % of the link; {_that_fit(plan.streams_that_fit or 0)}")
    rows = answer.get("comparison")
    if isinstance(rows, list):
        lines += ["", f"{'packet us':>10}{'IP Mbit/s':>12}{'wire Mbit/s':>12}{'latency us':>12}  fits the MTU"]
        lines += [
            f"{r['packet_time_us']:>10.1f}{r['ip_mbps']:>12.4f}{r['wire_mbps']:>12.4f}{r['latency_us']:>12.1f}  "
            f"{'yes' if r['fits_mtu'] else 'no'}"
            for r in rows
        ]
    lines += _advice(answer)
    lines += [f"{p.severity}: {p.line('stream')}" for p in plan.problems]
    return lines


def _that_fit(streams: int) -> str:
    """How many such streams one path carries, in words."""
    return "1 such stream fits" if streams == 1 else f"{streams} such streams fit"


def _advice(answer: dict[str, object]) -> list[str]:
    """The ranked protections for people: all that meet the target, or the best few that don't."""
    rows = answer.get("choices")
    if not isinstance(rows, list):
        return []
    meeting = [row for row in rows if row["meets"]]
    shown = meeting or rows[:8]
    lines = [
        "",
        f"{len(meeting)} of {len(rows)} protections {'meets' if len(meeting) == 1 else 'meet'} the target"
        + ("" if meeting else "; the nearest:"),
    ]
    if answer["losses_taken_as"]:
        lines.append(str(answer["losses_taken_as"]))
    lines.append(f"{'':2}{'protection':58}{'latency ms':>11}{'Mbit/s, all':>12}  decides")
    for row in shown:
        figures = f"{row['latency_us'] / 1000:>11.1f}{row['all_paths_mbps']:>12.3f}  {row['decides']}"
        lines.append(f"{'* ' if row['unbeaten'] else '  '}{row['protection']:58}{figures}")
    return [*lines, "* no other is as good in errors, latency and rate at once"]
