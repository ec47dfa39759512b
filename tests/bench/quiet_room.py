"""Figure 3: a quiet room of 12 enclosures: memory, CPU against the bare subscriber, fsyncs."""

import time

import rooms
from parts import BIN, Broker, Daemon, Failed, Floor, Process, Row, last_json, memory_kb, publisher

ROUND_S = 30.0
WINDOW_S = 90.0
COUNTING_S = 65.0
SETTLING_S = 8.0
SYNCING_S = 16.0
COMMIT_INTERVAL_S = 1.0  # the default, which the settings leave alone


def count_syncs(folder, daemon):
    """How often the daemon made the disk hold what it had written, over COUNTING_S."""
    trace = folder / "syncs"
    calls = "trace=fsync,fdatasync,sync_file_range,msync,syncfs,sync"
    tracing = Process(["strace", "-f", "-qq", "-e", calls, "-o", trace, "-p", daemon.pid], folder / "strace.log")
    with tracing:
        begun = time.monotonic()
        time.sleep(COUNTING_S)
        if not tracing.alive():
            raise Failed(f"strace ended: {tracing.text()}")
        seconds = time.monotonic() - begun
        tracing.end()
    # A call that was interrupted in the listing by another thread's is shown as unfinished and resumed: count once.
    lines = [line for line in trace.read_text().splitlines() if "sync" in line and "resumed" not in line]
    return len(lines), seconds


def measure(folder):
    settings_text, topics = rooms.quiet_room()
    plan = folder / "plan"
    a_round = rooms.quiet_plan(plan, topics, 8)
    rate = a_round / ROUND_S
    total_s = SETTLING_S + WINDOW_S + SYNCING_S + COUNTING_S + 10
    with Broker(folder) as broker, Floor(folder, broker.port) as floor, \
            Floor(folder, broker.port, 0, "queue") as queued:
        with Daemon(folder, rooms.mail_head(folder, broker.port) + settings_text) as daemon:
            with publisher(folder, broker.port, plan, int(total_s * rate), rate, 1):
                time.sleep(SETTLING_S)
                before = [process.cpu_s() for process in (floor, queued, daemon)]
                stored_before = daemon.ask("status")["store"]
                begun = time.monotonic()
                time.sleep(WINDOW_S)
                seconds = time.monotonic() - begun
                after = [process.cpu_s() for process in (floor, queued, daemon)]
                resident, peak = memory_kb(daemon.pid, "VmRSS"), memory_kb(daemon.pid, "VmHWM")
                floor_resident = memory_kb(floor.pid, "VmRSS")
                stored = daemon.ask("status")["store"]
                with Process([BIN / "baskwell-bench-sync", folder / "page", 500, 30], folder / "sync.log") as sync:
                    sync_us = last_json(sync.wait(60))["cpu_us"]
                syncs, counted_s = count_syncs(folder, daemon)
    floor_cpu, queued_cpu, daemon_cpu = (b - a for a, b in zip(before, after))
    readings = (stored["readings_stored"] - stored_before["readings_stored"]) / seconds
    if readings < 1.5:
        raise Failed(f"only {readings:.2f} readings a second were stored")
    per_interval = syncs / (counted_s / COMMIT_INTERVAL_S)
    if syncs == 0:
        raise Failed("strace saw no fsync at all")
    rows = [Row("resident memory", f"{resident / 1024:.1f} MB", "< 25 MB", resident < 25 * 1024),
            Row("bare subscriber, CPU ms a second", f"{floor_cpu / seconds * 1000:.2f}", "", None),
            Row("the same, by the library's queue", f"{queued_cpu / seconds * 1000:.2f}", "", None),
            Row("daemon, CPU ms a second", f"{daemon_cpu / seconds * 1000:.2f}", "", None),
            Row("CPU against the bare subscriber", f"{daemon_cpu / floor_cpu:.2f}", "<= 2",
                daemon_cpu <= 2 * floor_cpu),
            Row("CPU against the one with a queue", f"{daemon_cpu / queued_cpu:.2f}", "", None),
            Row("fsyncs a commit interval", f"{per_interval:.2f}", "<= 1", per_interval <= 1)]
    commits = (stored["transactions"] - stored_before["transactions"]) / seconds
    notes = [f"{commits:.2f} commits a second. To wake, write one page and sync it takes {sync_us:.0f} us of CPU here, "
             f"so durable commits cannot cost less than {commits * sync_us / 1000:.2f} ms a second.",
             f"{readings:.2f} readings a second stored, {WINDOW_S:.0f} s; then {syncs} fsyncs in {counted_s:.0f} s.",
             f"Most memory ever (start included) {peak / 1024:.1f} MB; the bare subscriber holds "
             f"{floor_resident / 1024:.1f} MB."]
    return "3. Quiet room: 12 enclosures, 60 channels, 2 readings a second in all", rows, notes
