"""Figure 2: `baskwell replay` with bands and alarms on one core, its memory for one file and one ten times longer."""

import datetime
import os
import subprocess
import time

import rooms
from parts import BIN, Failed, Row

SHORT_DAYS = 20
LONG_DAYS = 200
CORE = 0


def settings_for(folder):
    text = rooms.mail_head(folder, 1)
    for e in range(12):
        text += rooms.enclosure(f"e{e}", f"a{e}")
    path = folder / "room.toml"
    path.write_text(text)
    return path


def one_day():
    """12 enclosures, three temperatures and a humidity each, one reading a minute; every day four of the hot ends go
    cold for three hours, and come back. The date is filled in a day at a time."""
    lines = []
    for minute in range(1440):
        clock = f"{minute // 60:02d}:{minute % 60:02d}:00"
        for e in range(12):
            cold = e % 3 == 0 and e * 60 <= minute < e * 60 + 180
            for zone, centre in rooms.CENTRE_DEGC.items():
                # 0.05 degC a minute at most: weather, not jumps; the cold spell goes down and up as a ramp.
                value = centre + 0.4 * ((minute // 8 + e) % 5 - 2) * 0.25
                if cold and zone == "hot":
                    value -= 6.0 * min(1.0, (minute - e * 60) / 30, (e * 60 + 180 - minute) / 30)
                lines.append(f"DATET{clock}Z,e{e},{zone},temperature,{value:.2f}\n")
            lines.append(f"DATET{clock}Z,e{e},cool,humidity,{60 + (minute // 20 + e) % 7}.5\n")
    return "".join(lines), len(lines)


def write_days(path, day, days):
    first = datetime.date(2026, 1, 1)
    with open(path, "w") as out:
        out.write("time,enclosure,zone,quantity,value\n")
        for number in range(days):
            out.write(day.replace("DATE", (first + datetime.timedelta(days=number)).isoformat()))


def replay(folder, settings, readings, alarms):
    """Seconds and the most memory it ever held, of one run held to one core."""
    command = ["taskset", "-c", str(CORE), str(BIN / "baskwell"), "replay", "--settings", str(settings), "--readings",
               str(readings), "--alarms", str(alarms)]
    with open(folder / "replay.log", "w") as log:
        begun = time.monotonic()
        child = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)
        _, status, usage = os.wait4(child.pid, 0)
        seconds = time.monotonic() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        raise Failed(f"replay ended with {child.returncode}: {(folder / 'replay.log').read_text()[-500:]}")
    return seconds, usage.ru_maxrss


def measure(folder):
    settings = settings_for(folder)
    day, lines = one_day()
    figures = {}
    for name, days in (("short", SHORT_DAYS), ("long", LONG_DAYS)):
        readings = folder / "readings.csv"
        alarms = folder / f"alarms-{name}.csv"
        write_days(readings, day, days)
        runs = [replay(folder, settings, readings, alarms) for _ in range(3)]
        readings.unlink()
        with open(alarms) as rows:
            raised = sum(",unacknowledged," in row for row in rows)
        figures[name] = (lines * days, min(seconds for seconds, _ in runs), max(kb for _, kb in runs), raised)
    count, seconds, long_kb, raised = figures["long"]
    short_kb = figures["short"][2]
    if raised == 0:
        raise Failed("no alarm came in the replay, so alarms were not measured")
    rate = count / seconds
    rows = [Row("readings a second, one core", f"{rate:,.0f}", ">= 1,000,000", rate >= 1e6),
            Row(f"most memory, {figures['short'][0] / 1e6:.1f} million readings", f"{short_kb / 1024:.1f} MB", "",
                None),
            Row(f"most memory, {count / 1e6:.1f} million readings", f"{long_kb / 1024:.1f} MB", "the same",
                long_kb <= short_kb * 1.02 + 256)]
    notes = [f"Whole command on core {CORE}, start and both passes over the file included; the best of three runs.",
             f"12 enclosures, 48 series, {raised} alarms raised over {LONG_DAYS} days.",
             "The same: within 2 % and 256 KB, which is what two runs of one file differ by."]
    return "2. baskwell replay with bands and alarms", rows, notes
