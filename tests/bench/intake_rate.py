"""Figure 1: from the broker to judged and committed, against a bare subscriber that only counts."""

import sqlite3
import time

import rooms
from parts import Broker, Daemon, Failed, Floor, Row, cpu_of_pid, last_json, median, publisher, wait_until

MESSAGES = 1_200_000
ROUNDS = 3


def measure_floor(folder, plan):
    with Broker(folder) as broker, Floor(folder, broker.port, MESSAGES) as floor:
        before = floor.cpu_s()
        publishing = publisher(folder, broker.port, plan, MESSAGES)
        published = last_json(publishing.wait(120))
        # It ends by itself when all have come; its clock goes with it, so look until then.
        cpu = 0.0
        deadline = time.monotonic() + 60
        while floor.alive() and time.monotonic() < deadline:
            try:
                cpu = cpu_of_pid(floor.pid) - before
            except OSError:
                break
            time.sleep(0.002)
        counted = last_json(floor.wait(10))
    if counted["messages"] != MESSAGES:
        raise Failed(f"the floor counted {counted['messages']} of {MESSAGES} messages")
    seconds = (counted["last_ns"] - published["first_ns"]) / 1e9
    return MESSAGES / seconds, cpu / MESSAGES * 1e6


def committed(store):
    """Rows of readings: their ids count up without gaps in a new store; checked by a real count at the end."""
    return store.execute("SELECT coalesce(max(id), 0) FROM readings").fetchone()[0]


def measure_daemon(folder, plan, settings_text):
    for old in folder.glob("room.db*"):
        old.unlink()
    with Broker(folder) as broker, Daemon(folder, rooms.mail_head(folder, broker.port) + settings_text) as daemon:
        store = sqlite3.connect(f"file:{daemon.store}?mode=ro", uri=True)
        before = daemon.cpu_s()
        publishing = publisher(folder, broker.port, plan, MESSAGES)
        published = last_json(publishing.wait(120))
        stuck = {"at": 0, "since": time.monotonic()}

        def all_there():
            now = committed(store)
            if now != stuck["at"]:
                stuck.update(at=now, since=time.monotonic())
            return now >= MESSAGES or time.monotonic() - stuck["since"] > 5

        wait_until("the last commit", all_there, 120, 0.01)
        last = stuck["since"]
        seconds = last - time.monotonic() + time.time() - published["first_ns"] / 1e9
        cpu = daemon.cpu_s() - before
        status = daemon.ask("status")
        dropped = daemon.ask("payloads")["dropped"] + status["store"]["readings_dropped"]
        rows = store.execute("SELECT count(*) FROM readings").fetchone()[0]
        good = store.execute("SELECT count(*) FROM readings WHERE quality = 0").fetchone()[0]
        store.close()
    return {"rate": rows / seconds, "cpu": cpu / MESSAGES * 1e6, "rows": rows, "good": good, "dropped": dropped}


def measure(folder):
    settings_text, probes = rooms.three_hundred_probes()
    plan = folder / "plan"
    rooms.slow_plan(plan, probes)
    floors, daemons = [], []
    for _ in range(ROUNDS):
        floors.append(measure_floor(folder, plan))
        daemons.append(measure_daemon(folder, plan, settings_text))
    floor_rate, floor_cpu = median([f[0] for f in floors]), median([f[1] for f in floors])
    rate, cpu = median([d["rate"] for d in daemons]), median([d["cpu"] for d in daemons])
    missing = sum(MESSAGES - d["rows"] for d in daemons)
    dropped = sum(d["dropped"] for d in daemons)
    judged = sum(d["good"] for d in daemons)
    rows = [
        Row("bare subscriber, messages a second", f"{floor_rate:,.0f}", "", None),
        Row("daemon, judged and committed a second", f"{rate:,.0f}", "", None),
        Row("rate against the bare subscriber", f"{rate / floor_rate:.2f}", ">= 0.85", rate / floor_rate >= 0.85),
        Row("bare subscriber, CPU s per million", f"{floor_cpu:.1f}", "", None),
        Row("daemon, CPU s per million", f"{cpu:.1f}", "", None),
        Row("CPU against the bare subscriber", f"{cpu / floor_cpu:.2f}", "< 1.5", cpu / floor_cpu < 1.5),
        Row("published but not in the store", f"{missing}", "0", missing == 0),
    ]
    notes = [f"{ROUNDS} rounds of {MESSAGES:,} messages each, floor and daemon in turn; medians.",
             f"Counted as dropped: {dropped}. Judged good: {judged:,} of {sum(d['rows'] for d in daemons):,}.",
             "Rates: floor " + ", ".join(f"{f[0]:,.0f}" for f in floors) + "; daemon "
             + ", ".join(f"{d['rate']:,.0f}" for d in daemons) + ".",
             "CPU: floor " + ", ".join(f"{f[1]:.1f}" for f in floors) + "; daemon "
             + ", ".join(f"{d['cpu']:.1f}" for d in daemons) + "."]
    return "1. Broker to judged and committed (QoS 1, 300 probes, half plain, half JSON)", rows, notes
