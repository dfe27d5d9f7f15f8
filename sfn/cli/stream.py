"""Bit rate, latency and fit of a stream from the studio to a transmitter.

JSON keys: `payload`, `protection` (words); `packet_time_us`, `grains_per_packet`, `packets_per_s`; for every layer of
payload, rtp, udp, ip, tunnel, ethernet, wire its `_bytes` (one media packet) and `_mbps` (one path; the payload alone,
every other layer with parity and repeats); `all_paths_wire_mbps`; `month_bytes` (IP, all paths, always on);
`overhead_ratio` (IP headers / payload), `sample_rate_hz`, `sample_bits`; `parity_packets_ratio` (1/L + 1/D),
`longest_burst_packets`; `parity_wait_us`, `repeat_wait_us`; `time_slots` of 64 kbit/s and `time_slots_mbps`, `fits_e1`
and `fits_t1` (at most 31 and 24 slots), `e1_links` and `t1_links` (how many it takes); `share_ratio` of the link,
`streams_that_fit`; `mtu_bytes`, `fits_mtu`; `line` (what a constant bit stream takes, in words; it has no packets: all
figures of packets, of IP and of other layers than the payload are null then; null of packets); `dynamic_range_db`
(full-scale sine, no dither) and `dithered_range_db` (triangular dither, less the headroom); `latency_us` (sum of
`elements`, each with name, latency_us, how: the least release delay), `tolerance_us`, `time_stamped`; `problems`; with
--compare also `comparison`, one short row a packet time; with --advise also `losses_taken_as` (null, or that no mean
burst is given and what that flatters) and `choices`, every protection, those that
meet the target first, each with protection, meets, unbeaten, residual_loss_ratio, residual_kind, error_every_s,
errors_kind, latency_us, wait_us, rate_mbps (one path, at the link's layer), all_paths_mbps, decides (in words).
"""

import argparse
import json
import sys

from sfn.cli.idle import Idle, idle_joint_burst, idle_protection, refuse_idle
from sfn.cli.stream_options import (
    BURST_HELP,
    interval_ratio,
    joint_interval,
    joint_ratio,
    loss_in_range,
    model_of,
    number,
    option,
    protection_arguments,
    protection_of,
    several,
)
from sfn.cli.stream_table import table
from sfn.errors import PlanError, Problem
from sfn.plan.stream_plan import exactly
from sfn.stream import link as links, payload as payloads
from sfn.stream.advise import Target, advise
from sfn.stream.answer import choice_answer
from sfn.stream.carriage import T2_FRAME_MS, dab_ensemble_protected, t2_mi
from sfn.stream.composite import composite
from sfn.stream.fields import USUAL
from sfn.stream.packet import Headers, Packet, packet_of
from sfn.stream.paths import paths_given
from sfn.stream.payload import Payload

NAME = "stream"
SUMMARY = "bit rate, latency and fit of a stream"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    kind = parser.add_argument_group("what is carried (one of them)")
    kind.add_argument("--composite-khz", type=number, metavar="KHZ", help="analogue composite up to this frequency")
    kind.add_argument("--digital-composite", action="store_true", help="composite at 192 kHz over AES3")
    kind.add_argument("--linear-khz", type=number, metavar="KHZ", help="left/right, linear, at this sample rate")
    kind.add_argument("--coded-kbps", type=number, metavar="KBPS", help="compressed audio; needs --frame-ms")
    kind.add_argument("--dab-kbps", type=several, metavar="R,R,...", help="DAB ensemble: net rates of its sub-channels")
    kind.add_argument("--ts-mbps", type=number, metavar="MBPS", help="DVB transport stream")
    kind.add_argument("--t2-mi-mbps", type=number, metavar="MBPS", help="DVB-T2 net rate carried as T2-MI")
    kind.add_argument("--rate-kbps", type=number, metavar="KBPS", help="anything else of constant rate")
    detail = parser.add_argument_group("its details")
    detail.add_argument(
        "--bits",
        type=int,
        default=None,
        help="sample size, bits; to be given, but 24 for digital composite (page: 24)",
    )
    detail.add_argument(
        "--composite-rate-khz", type=number, metavar="KHZ", help="sample rate of an analogue composite; else of AES5"
    )
    detail.add_argument(
        "--transition-khz",
        type=number,
        metavar="KHZ",
        help="in which its filter falls; else a fifth of --composite-khz",
    )
    detail.add_argument("--channels", type=int, default=None, help="channels (linear: 2, digital composite: 1)")
    detail.add_argument("--whole-frames", action="store_true", help="AES3 frames as they are, 12.288 Mbit/s")
    detail.add_argument("--frame-ms", type=number, help="frame of the coding, to be given (page: 20)")
    detail.add_argument(
        "--look-ahead-ms", type=number, default=exactly(USUAL.look_ahead_ms or 0), help="look-ahead of the coding"
    )
    detail.add_argument("--g703", action="store_true", help="DAB as constant 2.048 Mbit/s frames instead of EDI")
    detail.add_argument("--edi-recovers", type=int, metavar="M", help="EDI with Reed-Solomon: M lost fragments a frame")
    detail.add_argument("--t2-mi-frame-ms", type=number, help=f"T2 frame, {T2_FRAME_MS} ms where not given")
    detail.add_argument("--headroom-db", type=float, default=0.0, help="kept free above the programme")
    packing = parser.add_argument_group("packing")
    packing.add_argument(
        "--packet-ms",
        type=number,
        help="packet time, 1/3 is exact; to be given where the coding has none (page: 1)",
    )
    packing.add_argument(
        "--units-per-packet",
        "--grains",
        dest="grains",
        type=int,
        help="samples, frames or transport packets in a packet, instead",
    )
    packing.add_argument("--ip", type=int, choices=(4, 6), default=USUAL.ip)
    packing.add_argument("--no-rtp", action="store_true", help="straight into UDP")
    packing.add_argument("--rtp-extension-bytes", type=int, default=0)
    packing.add_argument("--vlan-tags", type=int, default=USUAL.vlan_tags)
    packing.add_argument(
        "--tunnel-bytes", type=int, default=USUAL.tunnel_bytes, help="added to each packet by a tunnel"
    )
    packing.add_argument("--mtu-bytes", type=int, default=USUAL.mtu_bytes)
    protection_arguments(parser)
    way = parser.add_argument_group("the link")
    way.add_argument("--link-mbps", type=float, help="capacity of its narrowest part")
    way.add_argument("--link-layer", default=USUAL.link_layer, help="layer at which that capacity is meant")
    way.add_argument("--hops", type=int, default=USUAL.hops, help="times a packet is stored and sent on")
    way.add_argument("--network-ms", type=float, default=USUAL.network_ms, help="least transit time")
    way.add_argument("--variation-ms", type=float, default=USUAL.variation_ms, help="delay variation to cover")
    way.add_argument(
        "--differential-ms", type=float, default=USUAL.differential_ms, help="how much longer the second path takes"
    )
    way.add_argument("--sender-ms", type=float, default=USUAL.sender_ms, help="conversion and coding")
    way.add_argument("--receiver-ms", type=float, default=USUAL.receiver_ms, help="decoding and conversion")
    way.add_argument("--no-time-stamps", action="store_true", help="the receiver does not release at time stamps")
    way.add_argument("--adapting", action="store_true", help="the receive buffer changes by itself")
    wanted = parser.add_argument_group("advice: every protection for a target, ranked")
    wanted.add_argument("--advise", action="store_true", help="needs --loss-pct; --parity and the like don't count")
    wanted.add_argument("--loss-pct", type=float, help="lost packets of all, per cent, to be given (page: 0.01)")
    wanted.add_argument("--burst-packets", type=float, help=BURST_HELP)
    wanted.add_argument("--second-loss-pct", type=float, help="of a second path, where there is one")
    wanted.add_argument("--second-burst-packets", type=float, help="of a second path")
    wanted.add_argument("--joint-loss-pct", type=float, help="lost on both paths, of all; without it: independent")
    wanted.add_argument("--joint-burst-packets", type=float, help="mean burst of those; else the longer of the two")
    joint_interval(wanted)
    wanted.add_argument(
        "--error-every-h",
        type=float,
        default=Target().error_every_s / 3600,
        help="audible errors at most so often (a week)",
    )
    wanted.add_argument("--greatest-latency-ms", type=float, help="ceiling of the whole latency")
    wanted.add_argument("--greatest-mbps", type=float, help="ceiling of the rate on each path, at --link-layer")
    parser.add_argument("--compare", action="store_true", help="the same at other packet times, side by side")
    parser.add_argument("--json", action="store_true", help="one JSON document")


def payload_of(args: argparse.Namespace) -> Payload:
    """The payload that the arguments describe.

    Raises
    ------
    ValueError
        If none or several are described, or a needed detail is missing.
    """
    makers = {
        "composite_khz": lambda: composite(
            args.composite_khz,
            bits=_needed(args, "bits"),
            sample_rate_hz=None if args.composite_rate_khz is None else round(args.composite_rate_khz * 1000),
            transition_khz=args.transition_khz,
        ),
        "digital_composite": lambda: payloads.digital_composite(
            bits=args.bits or USUAL.bits or 24, channels=args.channels or 1, whole_frames=args.whole_frames
        ),
        "linear_khz": lambda: payloads.linear(
            int(args.linear_khz * 1000), bits=_needed(args, "bits"), channels=args.channels or 2
        ),
        "coded_kbps": lambda: payloads.compressed(
            args.coded_kbps, frame_ms=_needed(args, "frame_ms"), look_ahead_ms=args.look_ahead_ms
        ),
        "dab_kbps": lambda: (
            dab_ensemble_protected(args.dab_kbps, recovers=args.edi_recovers)
            if args.edi_recovers
            else payloads.dab_ensemble(args.dab_kbps, g703=args.g703)
        ),
        "t2_mi_mbps": lambda: t2_mi(args.t2_mi_mbps, frame_ms=args.t2_mi_frame_ms or T2_FRAME_MS),
        "ts_mbps": lambda: payloads.transport_stream(args.ts_mbps),
        "rate_kbps": lambda: payloads.constant_rate(args.rate_kbps),
    }
    given = [name for name in makers if getattr(args, name)]
    if len(given) != 1:
        options = ", ".join("--" + name.replace("_", "-") for name in makers)
        raise ValueError(f"exactly one of {options} must be given, got {len(given)}")
    return makers[given[0]]()


def run(args: argparse.Namespace) -> int:
    """Plan the stream and print it."""
    try:
        payload = payload_of(args)
        time_s = None if args.packet_ms is None else args.packet_ms / 1000
        packet = packet_of(payload, time_s=time_s, grains=args.grains)
        headers, link, protection = _headers(args, payload), _link(args), protection_of(args)
        refuse_idle(args, arguments, _idle(args))
        plan = links.link_plan(payload, packet, headers=headers, protection=protection, link=link)
        answer = links.as_answer(plan)
        if payload.sample_bits:
            bits = payload.sample_bits
            answer["dynamic_range_db"] = payloads.dynamic_range_db(bits)
            answer["dithered_range_db"] = payloads.dynamic_range_db(bits, dithered=True, headroom_db=args.headroom_db)
        if args.compare:
            answer["comparison"] = links.comparison(
                payload,
                headers=headers,
                protection=protection,
                link=link,
            )
        if args.advise:
            answer |= _advised(args, payload, packet, headers=headers, link=link)
    except ValueError as error:
        raise PlanError(
            [Problem("arguments", str(error), "see python -m sfn stream --help", code="arguments-unusable")]
        ) from None
    if args.json:
        json.dump(answer, sys.stdout, indent=1, allow_nan=False)
        print()
    else:
        print("\n".join(table(plan, answer)))
    return 0


def _idle(args: argparse.Namespace) -> list[Idle]:
    """Options that would do nothing beside what else is given."""
    sampled = bool(args.composite_khz or args.digital_composite or args.linear_khz)
    on_link = args.link_mbps is not None
    second = ("second_burst_packets", "joint_loss_pct", "joint_burst_packets", "joint_interval_pct")
    advice = (
        "loss_pct", "burst_packets", "second_loss_pct", *second, "error_every_h", "greatest_latency_ms",
        "greatest_mbps",
    )  # fmt: skip
    packed = (
        "mtu_bytes", "parity", "columns", "rows", "parity_spread", "repeat_after", "second_path", "differential_ms",
        "hops", "link_layer", "packet_ms", "grains", "ip", "vlan_tags", "tunnel_bytes", "compare", "advise",
    )  # fmt: skip
    return [
        Idle(("bits", "headroom_db"), sampled, "without --composite-khz, --digital-composite or --linear-khz"),
        Idle(("composite_rate_khz", "transition_khz"), bool(args.composite_khz), "without --composite-khz"),
        Idle(("rtp_extension_bytes",), not args.no_rtp, "together with --no-rtp: there is no RTP header to extend"),
        Idle(("no_rtp", "rtp_extension_bytes"), not args.dab_kbps, "together with --dab-kbps, which goes without RTP"),
        Idle(("channels",), bool(args.digital_composite or args.linear_khz), "without channels to count"),
        Idle(("whole_frames",), args.digital_composite, "without --digital-composite"),
        Idle(("bits", "channels"), not args.whole_frames, "together with --whole-frames: the frame is sent as it is"),
        Idle(("frame_ms", "look_ahead_ms"), bool(args.coded_kbps), "without --coded-kbps"),
        Idle(("g703", "edi_recovers"), bool(args.dab_kbps), "without --dab-kbps"),
        Idle(("edi_recovers",), not args.g703, "together with --g703"),
        Idle(packed, not args.g703, "together with --g703: a constant bit stream has no packets"),
        Idle(("t2_mi_frame_ms",), bool(args.t2_mi_mbps), "without --t2-mi-mbps"),
        Idle(("grains",), args.packet_ms is None, "together with --packet-ms"),
        Idle(("link_layer", "hops"), on_link, "without --link-mbps: they count its rate"),
        Idle(("greatest_mbps",), args.advise, "without --advise"),
        Idle(("differential_ms",), args.second_path or args.advise, "without --second-path"),
        Idle(("adapting",), args.no_time_stamps, "without --no-time-stamps: time stamps hold the launch"),
        Idle(advice, args.advise, "without --advise"),
        Idle(
            ("parity", "columns", "rows", "repeat_after", "second_path"),
            not args.advise,
            "together with --advise, which tries them all",
        ),
        Idle(second, args.second_loss_pct is not None, "without --second-loss-pct"),
        *idle_joint_burst(args),
        *([] if args.advise else idle_protection(args)),
    ]


def _advised(
    args: argparse.Namespace, payload: Payload, packet: Packet, *, headers: Headers, link: links.Link
) -> dict[str, object]:
    """Every protection for the target, in order, and how losses are taken."""
    if args.loss_pct is None:
        raise ValueError("--loss-pct must be given with --advise")
    loss_in_range(args)
    first, second = model_of(args, args.loss_pct), None
    if args.second_loss_pct is not None:
        second = model_of(args, args.second_loss_pct, "second_burst_packets")
    joint = joint_ratio(args, first, second)
    paths = paths_given(
        first, second, joint_loss_ratio=joint, joint_burst_packets=args.joint_burst_packets,
        joint_interval_ratio=interval_ratio(args),
    )  # fmt: skip
    target = Target(
        args.error_every_h * 3600,
        None if args.greatest_latency_ms is None else args.greatest_latency_ms * 1000,
        args.greatest_mbps,
    )
    found = advise(
        payload, packet, headers=headers, link=link, paths=paths, target=target, parity_spread=args.parity_spread
    )
    return {"losses_taken_as": paths.alone_says, "choices": [choice_answer(choice) for choice in found]}


def _needed(args: argparse.Namespace, name: str) -> int:
    """An argument that the chosen payload cannot do without."""
    value = getattr(args, name)
    if value is None:
        raise ValueError(f"{option(name)} must be given for this payload")
    return value  # type: ignore[no-any-return] # argparse's namespace is untyped; `type=` has made it a number


def _headers(args: argparse.Namespace, payload: Payload) -> Headers:
    """Headers from the arguments and the payload's usual carriage."""
    return Headers(
        rtp=payload.uses_rtp and not args.no_rtp,
        rtp_extension_bytes=args.rtp_extension_bytes,
        ip_version=args.ip,
        vlan_tags=args.vlan_tags,
        tunnel_bytes=args.tunnel_bytes,
    )


def _link(args: argparse.Namespace) -> links.Link:
    """The link from the arguments."""
    return links.Link(
        capacity_mbps=args.link_mbps,
        capacity_layer=args.link_layer,
        hops=args.hops,
        network_us=args.network_ms * 1000,
        variation_us=args.variation_ms * 1000,
        differential_us=args.differential_ms * 1000,
        sender_us=args.sender_ms * 1000,
        receiver_us=args.receiver_ms * 1000,
        mtu_bytes=args.mtu_bytes,
        time_stamped=not args.no_time_stamps,
        adapting=args.adapting,
    )
