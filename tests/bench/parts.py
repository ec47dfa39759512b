"""Processes, broker and figures for the benchmarks. Everything started here is ended here, by its own pid.

Times in seconds unless named otherwise; CPU is user and system time together."""

import json
import os
import resource
import signal
import socket
import subprocess
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BUILD = ROOT / ".build" / "release"
BIN = BUILD / "bin"


class Failed(Exception):
    """What keeps a figure from being measured, in words."""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until(what, condition, patience_s=20.0, every_s=0.02):
    deadline = time.monotonic() + patience_s
    while not condition():
        if time.monotonic() > deadline:
            raise Failed(f"{what} did not happen within {patience_s:.0f} s")
        time.sleep(every_s)


def cpu_of_pid(pid):
    """CPU of a process with all its threads, also those that have ended. The kernel's clock of another process
    (clock_getcpuclockid(3)): its number holds the inverted pid, and 2 for "by the scheduler's account"."""
    return time.clock_gettime((~pid << 3) | 2)


def memory_kb(pid, key):
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(key + ":"):
            return int(line.split()[1])
    raise Failed(f"process {pid} has no {key}")


class Process:
    """A child with its output in a file; ended by SIGTERM, then SIGKILL."""

    def __init__(self, argv, log, **more):
        self.log = Path(log)
        with open(self.log, "wb") as out:
            self.child = subprocess.Popen([str(a) for a in argv], stdin=subprocess.DEVNULL, stdout=out,
                                          stderr=subprocess.STDOUT, **more)
        self.pid = self.child.pid

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.end()

    def text(self):
        return self.log.read_text(errors="replace")

    def alive(self):
        return self.child.poll() is None

    def cpu_s(self):
        return cpu_of_pid(self.pid)

    def wait(self, patience_s):
        try:
            status = self.child.wait(patience_s)
        except subprocess.TimeoutExpired as late:
            raise Failed(f"{self.child.args[0]} did not end within {patience_s} s") from late
        if status != 0:
            raise Failed(f"{self.child.args[0]} ended with {status}: {self.text()[-500:]}")
        return self.text()

    def end(self, patience_s=10.0):
        if self.alive():
            self.child.send_signal(signal.SIGTERM)
            try:
                self.child.wait(patience_s)
            except subprocess.TimeoutExpired:
                self.child.kill()
                self.child.wait()
        return self.text()


def last_json(text):
    for line in reversed(text.splitlines()):
        if line.startswith("{"):
            return json.loads(line)
    raise Failed(f"no figures in: {text[-300:]}")


class Broker(Process):
    """A private mosquitto as Debian sets it up, but without a limit on what waits for a slow subscriber: what it
    drops by itself is neither the daemon's nor the floor's."""

    def __init__(self, folder):
        self.port = free_port()
        conf = folder / "broker.conf"
        conf.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n")
        super().__init__(["/usr/sbin/mosquitto", "-c", conf], folder / "broker.log")
        wait_until("the broker", self.answers)

    def answers(self):
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


class Daemon(Process):
    def __init__(self, folder, settings_text, wrapper=()):
        self.folder = folder
        self.socket_path = folder / "baskwell.sock"
        self.store = folder / "room.db"
        settings = folder / "room.toml"
        settings.write_text(settings_text)
        super().__init__([*wrapper, BIN / "baskwell", "run", "--settings", settings], folder / "baskwell.log")
        wait_until("the daemon's connection", lambda: "broker: connected" in self.checked_text(), every_s=0.1)

    def checked_text(self):
        if not self.alive():
            raise Failed(f"the daemon ended: {self.text()[-800:]}")
        return self.text()

    def ask(self, what):
        with socket.socket(socket.AF_UNIX) as control:
            control.settimeout(10)
            control.connect(str(self.socket_path))
            control.sendall(json.dumps({"do": what}).encode() + b"\n")
            answer = b""
            while not answer.endswith(b"\n"):
                part = control.recv(65536)
                if not part:
                    break
                answer += part
        return json.loads(answer)["data"]


class Floor(Process):
    def __init__(self, folder, port, messages=0, way="callback"):
        super().__init__([BIN / "baskwell-bench-floor", way, port, "bench/#", messages], folder / f"floor-{way}.log")
        wait_until("the floor's subscription", lambda: "ready" in self.text())


def publisher(folder, port, plan, messages, rate=0, connections=4, log="-"):
    """Runs beside what is measured; use it in a `with`, and wait() for its figures."""
    return Process([BIN / "baskwell-bench-publisher", port, plan, messages, rate, connections, log],
                   folder / "publisher.log")


class Row:
    """One line of the table. `reached` by the caller: above or below is not the table's to know."""

    def __init__(self, what, measured, wanted, reached):
        self.what, self.measured, self.wanted, self.reached = what, measured, wanted, reached


def print_table(title, rows, notes=()):
    print(f"\n{title}")
    cells = [("", "measured", "wanted", "reached")]
    cells += [(r.what, r.measured, r.wanted, "" if r.reached is None else "yes" if r.reached else "NO") for r in rows]
    widths = [max(len(line[i]) for line in cells) for i in range(4)]
    for line in cells:
        print("  " + "  ".join(text.ljust(width) for text, width in zip(line, widths)).rstrip())
    for note in notes:
        print(f"  - {note}")
    print(flush=True)


def median(values):
    ordered = sorted(values)
    return ordered[len(ordered) // 2] if len(ordered) % 2 else sum(ordered[len(ordered) // 2 - 1:][:2]) / 2


class Machine:
    """What other programs took of the machine since this was made: children that have ended are ours."""

    def __init__(self):
        self.begun, self.busy = time.monotonic(), self.busy_s()
        self.own = self.own_s()

    @staticmethod
    def busy_s():
        # user, nice, system, idle, iowait, irq, softirq, steal: proc(5)
        ticks = [int(t) for t in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]]
        return (sum(ticks) - ticks[3] - ticks[4]) / os.sysconf("SC_CLK_TCK")

    @staticmethod
    def own_s():
        total = 0.0
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN):
            usage = resource.getrusage(who)
            total += usage.ru_utime + usage.ru_stime
        return total

    def others_share(self):
        cores_s = (time.monotonic() - self.begun) * os.cpu_count()
        return max(0.0, self.busy_s() - self.busy - (self.own_s() - self.own)) / cores_s
