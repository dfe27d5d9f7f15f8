"""Two hours of 250 packets/s, 1.8 million packets: read, put in order, cut into hours. One core.

Wanted: under 15 s and under 500 MB, headers only, with progress. Beside it: dpkt framing the same file and no more.
"""

import os
import resource
import struct
import sys
import tempfile
import time
from pathlib import Path

import dpkt
import numpy as np

from sfn.stream.buffer import hours
from sfn.stream.capture import read_packets
from sfn.stream.measured import measure

PACKETS_N = 1_800_000
START_US = 1_764_000_000_000_000


def write(path: Path, *, newer: bool) -> int:
    """A capture with one packet in a thousand lost; how many were."""
    rng = np.random.default_rng(1)
    lost = rng.random(PACKETS_N) < 1e-3
    at_us = START_US + np.arange(PACKETS_N) * 4000 + rng.exponential(500, PACKETS_N).astype(np.int64)
    at_us = np.maximum.accumulate(at_us)
    head = b"\0" * 12 + b"\x08\x00" + bytes.fromhex("45000030000000004011000000000000ef010101") + b"\x9c\x40\x13\x8c"
    head += struct.pack(">HH", 28, 0) + b"\x80\x60"
    with path.open("wb") as file:
        if newer:
            file.write(struct.pack("<IIIHHqI", 0x0A0D0D0A, 28, 0x1A2B3C4D, 1, 0, -1, 28))
            file.write(struct.pack("<IIHHII", 1, 20, 1, 0, 65_535, 20))
        else:
            file.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, 1))
        for k in np.flatnonzero(~lost).tolist():
            frame = head + struct.pack(">HIIQ", k & 0xFFFF, k * 512 & 0xFFFFFFFF, 7, 0)
            t, n = int(at_us[k]), len(frame)
            if newer:
                pad = -n % 4
                file.write(struct.pack("<IIIIIII", 6, 32 + n + pad, 0, t >> 32, t & 0xFFFFFFFF, n, n))
                file.write(frame + b"\0" * pad + struct.pack("<I", 32 + n + pad))
            else:
                file.write(struct.pack("<IIII", t // 1_000_000, t % 1_000_000, n, n) + frame)
    return int(lost[lost.argmin() : PACKETS_N - lost[::-1].argmin()].sum())


def analyse(path: Path) -> tuple[int, float, int]:
    """Packets lost, CPU seconds, calls of the progress."""
    seen: list[float] = []
    begun = time.process_time()
    with path.open("rb") as file:
        ours = measure(read_packets(file, name=path.name, size_bytes=os.path.getsize(path), progress=seen.append))
    cut = hours(ours, late_probability=1e-4)
    return sum(h.lost_n for h in cut), time.process_time() - begun, len(seen)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        for newer in (False, True):
            path = Path(folder, "two hours." + ("pcapng" if newer else "pcap"))
            lost_n = write(path, newer=newer)
            found_n, ours_s, calls_n = analyse(path)
            begun = time.process_time()
            with path.open("rb") as file:
                framed_n = sum(1 for _ in dpkt.pcap.UniversalReader(file))
            framing_s = time.process_time() - begun
            memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"{path.suffix}: {framed_n} packets, {found_n} lost of {lost_n}, {ours_s:.1f} s CPU, "
                  f"{ours_s / framing_s:.1f} x framing alone by dpkt ({framing_s:.1f} s), {calls_n} calls of progress, "
                  f"at most {memory_mb:.0f} MB so far")  # fmt: skip
            if found_n != lost_n:
                sys.exit("losses differ")
