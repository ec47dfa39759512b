"""Figure 1: from the broker to judged and committed, against a bare subscriber that only counts."""

import sqlite3
import time

import rooms
from parts import Broker, Daemon, Failed, Floor, Row, last_json, median, publisher, wait_until

MESSAGES = 1_000_000
ROUNDS = 3
SUBSCRIBED_AT_LEAST = 0.85
CPU_AT_MOST = 1.5


def publish(folder, port, plan):
    with publisher(folder, port, plan, MESSAGES) as publishing:
        return last_json(publishing.wait(180))


def measure_floor(folder, plan, way="callback"):
    """Messages a second, from the first one's publishing to the last one's arrival, and CPU s per million."""
    with Broker(folder) as broker, Floor(folder, broker.port, MESSAGES, way) as floor:
        before = floor.cpu_s()
        published = publish(folder, broker.port, plan)
        # Its CPU can be read while it lives: told to end once it no longer works.
        wait_until("the floor's last message", lambda: not_working(floor), 120)
        cpu = floor.cpu_s() - before
        counted = last_json(floor.end())
    if counted["messages"] != MESSAGES:
        raise Failed(f"the floor counted {counted['messages']} of {MESSAGES} messages")
    seconds = (counted["last_ns"] - published["first_ns"]) / 1e9
    return MESSAGES / seconds, cpu / MESSAGES * 1e6


def not_working(process):
    before = process.cpu_s()
    time.sleep(0.5)
    return process.cpu_s() - before < 0.005


def committed(store):
    """Rows of readings: their ids count up without gaps in a new store; the rows are counted at the end."""
    return store.execute("SELECT coalesce(max(id), 0) FROM readings").fetchone()[0]


def seconds_to_last_commit(store, first_ns):
    """Looks every 10 ms; ends when all are in the store, or nothing has come for 5 s."""
    there, at = -1, time.time()
    while there < MESSAGES and time.time() - at < 5:
        now = committed(store)
        if now != there:
            there, at = now, time.time()
        time.sleep(0.01)
    return at - first_ns / 1e9


def measure_daemon(folder, plan, settings_text):
    for old in folder.glob("room.db*"):
        old.unlink()
    with Broker(folder) as broker, Daemon(folder, rooms.mail_head(folder, broker.port) + settings_text) as daemon:
        store = sqlite3.connect(f"file:{daemon.store}?mode=ro", uri=True)
        before = daemon.cpu_s()
        published = publish(folder, broker.port, plan)
        seconds = seconds_to_last_commit(store, published["first_ns"])
        cpu = daemon.cpu_s() - before
        dropped = daemon.ask("payloads")["dropped"] + daemon.ask("status")["store"]["readings_dropped"]
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
    queued_rate, queued_cpu = measure_floor(folder, plan, "queue")
    # What else runs here comes and goes: each round is held against its own floor.
    rate_share = median([d["rate"] / f[0] for f, d in zip(floors, daemons)])
    cpu_share = median([d["cpu"] / f[1] for f, d in zip(floors, daemons)])
    missing = sum(MESSAGES - d["rows"] for d in daemons)
    judged = sum(d["good"] for d in daemons)
    rows = [
        Row("bare subscriber, messages a second", f"{median([f[0] for f in floors]):,.0f}", "", None),
        Row("daemon, judged and committed a second", f"{median([d['rate'] for d in daemons]):,.0f}", "", None),
        Row("rate against the bare subscriber", f"{rate_share:.2f}", f">= {SUBSCRIBED_AT_LEAST}",
            rate_share >= SUBSCRIBED_AT_LEAST),
        Row("bare subscriber, CPU s per million", f"{median([f[1] for f in floors]):.1f}", "", None),
        Row("daemon, CPU s per million", f"{median([d['cpu'] for d in daemons]):.1f}", "", None),
        Row("CPU against the bare subscriber", f"{cpu_share:.2f}", f"< {CPU_AT_MOST}", cpu_share < CPU_AT_MOST),
        Row("published but not in the store", f"{missing}", "0", missing == 0),
    ]
    notes = [f"{ROUNDS} rounds of {MESSAGES:,} messages each, floor and daemon in turn; medians, of the ratios too.",
             f"Counted as dropped: {sum(d['dropped'] for d in daemons)}. Judged good: {judged:,} of "
             f"{sum(d['rows'] for d in daemons):,}.",
             "Rates: floor " + ", ".join(f"{f[0]:,.0f}" for f in floors) + "; daemon "
             + ", ".join(f"{d['rate']:,.0f}" for d in daemons) + ".",
             "CPU: floor " + ", ".join(f"{f[1]:.1f}" for f in floors) + "; daemon "
             + ", ".join(f"{d['cpu']:.1f}" for d in daemons) + ".",
             f"A bare subscriber that takes messages from the library's queue: {queued_rate:,.0f} a second, "
             f"{queued_cpu:.1f} CPU s per million."]
    return "1. Broker to judged and committed (QoS 1, 300 probes, half plain, half JSON)", rows, notes
