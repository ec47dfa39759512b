"""Runs the benchmarks and prints a table for each figure. Measures; whatever the verdicts, the exit status is 0,
and 1 only where something could not be measured."""

import os
import platform
import shutil
import sys
import time

import alarm_delay
import intake_rate
import quiet_room
import replay_rate
from parts import ROOT, Failed, Machine, print_table

FIGURES = {"intake": intake_rate, "replay": replay_rate, "quiet": quiet_room, "alarms": alarm_delay}


def main(names):
    unknown = [name for name in names if name not in FIGURES]
    if unknown:
        sys.exit(f"bench: no such figure: {unknown[0]}; there are: {', '.join(FIGURES)}")
    cores = len(os.sched_getaffinity(0))
    print(f"{time.strftime('%Y-%m-%d %H:%M', time.gmtime())} UTC, {cores} cores, {platform.machine()}, "
          f"Linux {platform.release()}")
    begun = time.monotonic()
    failed = False
    for name in names or FIGURES:
        folder = ROOT / ".build" / "bench" / name
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        machine = Machine()
        try:
            title, rows, notes = FIGURES[name].measure(folder)
            notes.append(f"Other programs took {machine.others_share():.0%} of the machine meanwhile.")
            print_table(title, rows, notes)
        except Failed as why:
            failed = True
            print(f"\n{name}: could not be measured: {why}", flush=True)
    print(f"{time.monotonic() - begun:.0f} s in all")
    sys.exit(1 if failed else 0)


main(sys.argv[1:])
