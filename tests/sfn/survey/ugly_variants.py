"""Forty and more ways to write one drive."""

from datetime import timedelta

import numpy as np

from tests.sfn.survey.ugly_logs import (
    FIELD,
    LAT,
    LON,
    MHZ,
    START,
    T_S,
    N,
    Ugly,
    gpx,
    input_dbm,
    input_dbuv,
    iso,
    minutes,
    nmea,
    plain,
    rows,
    track,
    written,
    xlsx,
)  # fmt: skip

HEAD = "lat,lon,level_dbuvm"
DBM = [input_dbm(e, gain_dbi=2.15, loss_db=1.5) for e in FIELD]
GAIN = {"antenna_gain_dbi": 2.15, "cable_loss_db": 1.5}
DBM_ISO = [input_dbm(e) for e in FIELD]
DBUV = [input_dbuv(e, factor_db=9.4, loss_db=0.7) for e in FIELD]
FACTOR = {"antenna_factor_db": 9.4, "cable_loss_db": 0.7}


def but(lines: list[list[str]], changed: dict[int, list[str]]) -> list[list[str]]:
    """The same with some lines others."""
    return [changed.get(k, line) for k, line in enumerate(lines)]


def with_cell(at: int, cell: str, where: tuple[int, ...]) -> list[list[str]]:
    """The plain lines with one cell another in some of them."""
    return [[*line[:at], cell, *line[at + 1 :]] if k in where else line for k, line in enumerate(rows(plain))]


def timed(k: int, level: object, *, ahead_s: float = 0.0) -> list[str]:
    """Time and level, no place."""
    return [iso(k, ahead_s=ahead_s), f"{level:.4f}"]


COMMA = [[c.replace(".", ",") for c in line] for line in rows(plain)]
MIXED = [line for k in range(N) for line in ([f"{MHZ * 1e6:.0f}", *plain(k)], ["101500000", *plain(k)[:2], "31.5"])]
TWO = [[*plain(k)[:2], f"{DBM[k]:.4f}", "-88.0"] for k in range(N)]
FIELD_TIMES = written("UTC,Field strength [dBuV/m]", [timed(k, FIELD[k]) for k in range(N)])
LOCAL_TIMES = written("Time,Field strength [dBuV/m]", [timed(k, FIELD[k], ahead_s=7200) for k in range(N)])
LATE = START.replace(hour=23, minute=59)


def clock(k: int, shape: str, *, late: bool = False) -> str:
    """Time of a line in a shape of its own."""
    return ((LATE if late else START) + timedelta(seconds=float(T_S[k]))).strftime(shape)


UGLY = (
    Ugly("as ours", written(HEAD, rows(plain))),
    Ugly("semicolons and decimal commas", written("lat;lon;level_dbuvm", COMMA, mark=";")),
    Ugly("tabs", written("Lat\tLong\tLevel (dBuV/m)", rows(plain), mark="\t")),
    Ugly("bars", written("Lat|Lng|Level dBuV/m", rows(plain), mark=" | ")),
    Ugly("blanks", written("lat lon dBuV/m", rows(plain), mark="   ")),
    Ugly("UTF-16", written(HEAD, rows(plain)).decode().encode("utf-16")),
    Ugly("Windows-1252", "Breite;LAT;LON;dB\u00b5V/m\n".encode("cp1252") + b"\n".join(
        ";".join(["x", *line]).encode() for line in COMMA)),
    Ugly("byte order mark, CRLF, empty lines", "\ufeff".encode() + written(HEAD, rows(plain), end="\r\n\r\n")),
    Ugly("preamble", written("GPS Latitude,GPS Longitude,Signal level [dBuV/m]", rows(plain),
                             before="Receiver,7\nSerial,123\nBegun,2026-11-20\n\n")),
    Ugly("names in a remark", written(f"# {HEAD}", rows(plain))),
    Ugly("a line of units", written("Latitude,Longitude,Level\ndeg,deg,dBuV/m", rows(plain))),
    Ugly("quoted", written('"lat","lon","level (dBuV/m)"', [[f'"{c}"' for c in line] for line in rows(plain)])),
    Ugly("other columns", written("No,Latitude,Longitude,Speed (km/h),RSSI (dBuV/m),Sat", rows(
        lambda k: [k, *plain(k)[:2], 54, plain(k)[2], 9]))),
    Ugly("dBm with a gain", written("lat,lon,RSSI [dBm]", rows(lambda k: [*plain(k)[:2], f"{DBM[k]:.4f}"])), how=GAIN),
    Ugly("dBm, isotropic", written("lat,lon,power_dbm", rows(lambda k: [*plain(k)[:2], f"{DBM_ISO[k]:.4f}"])),
         how={"antenna_gain_dbi": 0.0}),
    Ugly("dBuV with a factor", written("lat,lon,Level (dBuV)", rows(lambda k: [*plain(k)[:2], f"{DBUV[k]:.4f}"])),
         how=FACTOR),
    Ugly("dBm in 75 ohm", written("lat,lon,dBm", rows(
        lambda k: [*plain(k)[:2], f"{DBUV[k] - 90 - 10 * np.log10(75.0):.4f}"])), how=FACTOR | {"impedance_ohm": 75.0}),
    Ugly("dBm, no antenna", written("lat,lon,RSSI [dBm]", rows(lambda k: [*plain(k)[:2], f"{DBM[k]:.4f}"])),
         asked="antenna-factor-missing"),
    Ugly("no unit", written("lat,lon,level", rows(plain)), asked="level-unit-missing"),
    Ugly("no unit, told", written("lat,lon,level", rows(plain)), how={"level_unit": "dBuV/m"}),
    Ugly("unit in each cell", written("lat,lon,level", rows(lambda k: [*plain(k)[:2], f"{DBM[k]:.4f} dBm"])), how=GAIN),
    Ugly("unit in a column", written("lat,lon,level,unit", rows(lambda k: [*plain(k)[:2], f"{DBUV[k]:.4f}", "dB\u00b5V"])),
         how=FACTOR),
    Ugly("dBm called dBuV/m", written(HEAD, rows(lambda k: [*plain(k)[:2], f"{DBM[k] + 20:.4f}"])),
         asked="level-unit-doubted"),
    Ugly("degrees, minutes, seconds", written("Latitude;Longitude;dBuV/m", rows(lambda k: [
        f"{int(LAT[k])}\u00b0{int(LAT[k] % 1 * 60):02d}'{LAT[k] % 1 * 3600 % 60:07.4f}\"N",
        f"{int(-LON[k])}\u00b0{int(-LON[k] % 1 * 60):02d}'{-LON[k] % 1 * 3600 % 60:07.4f}\"W", plain(k)[2]]), mark=";")),
    Ugly("degrees and minutes packed", written("Lat,N/S,Lon,E/W,dBuV/m", rows(
        lambda k: [*minutes(LAT[k], "NS", 2), *minutes(LON[k], "EW", 3), plain(k)[2]]))),
    Ugly("ten-millionths", written("lat,lon,dBuV/m", rows(
        lambda k: [round(LAT[k] * 1e7), round(LON[k] * 1e7), plain(k)[2]]))),
    Ugly("one cell for the place", written("position;level dBuV/m", rows(
        lambda k: [f"{plain(k)[0]}, {plain(k)[1]}", plain(k)[2]]), mark=";")),
    Ugly("letters behind", written("lat,lon,dBuV/m", rows(
        lambda k: [f"{LAT[k]:.7f}N", f"{-LON[k]:.7f}W", plain(k)[2]]))),
    Ugly("columns exchanged", written("lon,lat,level_dbuvm", rows(plain)), asked="coordinates-exchanged"),
    Ugly("columns exchanged, told", written("lon,lat,level_dbuvm", rows(plain)), how={"order": "exchanged"}),
    Ugly("minus lost", written(HEAD, rows(lambda k: [plain(k)[0], plain(k)[1].strip("-"), plain(k)[2]])),
         asked="coordinates-sign"),
    Ugly("two lines exchanged", written(HEAD, but(rows(plain), {
        5: [plain(5)[1], plain(5)[0], "50"], 9: [plain(9)[1], plain(9)[0], "50"]})), skipped=(7, 11), gone=(5, 9)),
    Ugly("no position yet", written(HEAD, but(rows(plain), {0: ["0", "0", "50"], 1: ["0.0", "0.0", "50"]})),
         skipped=(2, 3), gone=(0, 1)),
    Ugly("a jump", written(HEAD, but(rows(plain), {40: ["46.3", "-84.2", "50"]})), skipped=(42,), gone=(40,)),
    Ugly("gaps", written(HEAD, with_cell(2, "", (3, 4, 5))), skipped=(5, 6, 7), gone=(3, 4, 5)),
    Ugly("marks for nothing", written(HEAD, but(but(with_cell(2, "-999", (3,)), {
        7: [*plain(7)[:2], "NaN"]}), {8: [*plain(8)[:2], "---"]})), skipped=(5, 9, 10), gone=(3, 7, 8)),
    Ugly("cut off", written(HEAD, rows(plain))[:-14], skipped=(N + 1,), gone=(N - 1,)),
    Ugly("a comma too many", written(HEAD, [[*line, ""] for line in rows(plain)])),
    Ugly("lines of something else", written(HEAD, but(rows(plain), {
        10: ["PAUSE"], 11: ["x", "y", "z"], 60: ["36.3", "-84.2", "weak"]})) + b"END OF LOG\n",
        skipped=(12, 13, 62, N + 2), gone=(10, 11, 60)),
    Ugly("names again", written(HEAD, rows(plain)[:50]) + written(HEAD, rows(plain)[50:])),
    Ugly("names again in another order", written(HEAD, rows(plain)[:50]) + written(
        "level_dbuvm,lat,lon", [[c, a, b] for a, b, c in rows(plain)[50:]])),
    Ugly("several frequencies, Hz", written("Frequency (Hz),lat,lon,dBuV/m", MIXED)),
    Ugly("another frequency", written("Frequency (MHz),lat,lon,dBuV/m", rows(lambda k: ["101.5", *plain(k)])),
         asked="log-other-frequency"),
    Ugly("a column a channel", written("lat,lon,98.3 MHz (dBm),101.5 MHz (dBm)", TWO), how=GAIN),
    Ugly("channels without a frequency", written("lat,lon,CH1 (dBm),CH2 (dBm)", TWO), how=GAIN, asked="log-channels"),
    Ugly("a channel told", written("lat,lon,CH1 (dBm),CH2 (dBm)", TWO), how=GAIN | {"channel": "ch1"}),
    Ugly("a channel in each line", written("ch,lat,lon,dBuV/m", [
        line for k in range(N) for line in (["3", *plain(k)], ["4", *plain(k)[:2], "30"])]), how={"channel": "3"}),
    Ugly("most, average and least", written("lat,lon,max (dBuV/m),avg (dBuV/m),min (dBuV/m)", rows(
        lambda k: [*plain(k)[:2], "99", plain(k)[2], "10"]))),
    Ugly("field strength beside power", written("lat,lon,Power (dBm),Field strength (dBuV/m)", rows(
        lambda k: [*plain(k)[:2], "-60", plain(k)[2]]))),
    Ugly("XLSX", xlsx(["Latitude", "Longitude", "Level (dBuV/m)"], [
        [float(c) for c in plain(k)] for k in range(N)]), source="drive.xlsx"),
    Ugly("positions in GPX", FIELD_TIMES, positions=("track.gpx", track())),
    Ugly("positions every 4 s", FIELD_TIMES, positions=("track.gpx", track(every=4)), skipped=(N, N + 1),
         gone=(N - 2, N - 1), off_deg=2e-4),
    Ugly("positions in NMEA", FIELD_TIMES, positions=("gps.nmea", nmea())),
    Ugly("positions in a table", FIELD_TIMES, positions=("gps.csv", written("Date,Time,Lat,Lon", rows(
        lambda k: [clock(k, "%d.%m.%Y"), clock(k, "%H:%M:%S"), *plain(k)[:2]])))),
    Ugly("satellites lost", FIELD_TIMES, positions=("track.gpx", track(without=range(50, 90))),
         skipped=tuple(range(53, 91)), gone=tuple(range(51, 89)), off_deg=2e-4),
    Ugly("local time", LOCAL_TIMES, positions=("track.gpx", track()), asked="times-apart"),
    Ugly("local time, told", LOCAL_TIMES, positions=("track.gpx", track()), how={"clock_ahead_s": 7200.0}),
    Ugly("another day", written("Time,dBuV/m", [timed(k, FIELD[k], ahead_s=9e5) for k in range(N)]),
         positions=("track.gpx", track()), asked="times-apart"),
    Ugly("seconds since 1970", written("epoch,dBuV/m", rows(
        lambda k: [round((START.timestamp() + T_S[k]) * 1000), plain(k)[2]])), positions=("track.gpx", track())),
    Ugly("time of day alone", written("time of day,dBuV/m", rows(lambda k: [clock(k, "%H:%M:%S.0"), plain(k)[2]])),
         positions=("gps.nmea", nmea())),
    Ugly("past midnight", written("Time,dBuV/m", rows(lambda k: [clock(k, "%H:%M:%S", late=True), plain(k)[2]])),
         positions=("gps.csv", written("Time,Lat,Lon", rows(
             lambda k: [clock(k, "%H:%M:%S", late=True), *plain(k)[:2]])))),
    Ugly("months first, twelve hours", written("Date,Time,dBuV/m", rows(
        lambda k: [clock(k, "%m/%d/%Y"), clock(k, "%I:%M:%S %p"), plain(k)[2]])), positions=("track.gpx", track())),
    Ugly("levels in GPX", gpx([
        f'<trkpt lat="{LAT[k]:.7f}" lon="{LON[k]:.7f}"><cmt>{"lost" if k == 7 else plain(k)[2]}</cmt></trkpt>'
        for k in range(N)]), source="drive.gpx", skipped=(8,), gone=(7,)),
    Ugly("dBm in GPX", gpx([
        f'<trkpt lat="{LAT[k]:.7f}" lon="{LON[k]:.7f}"><extensions><rssi_dbm>{DBM[k]:.4f}</rssi_dbm></extensions></trkpt>'
        for k in range(N)]), source="drive.gpx", how=GAIN),
    Ugly("no names", written("36.2,-84.2,55", rows(plain)), asked="columns-missing"),
)  # fmt: skip
