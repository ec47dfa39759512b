"""Figure 4: 1,000 readings a second with alarms arising: from the end of the on-delay to the channel call."""

import json
import random
import time

import rooms
from parts import Broker, Daemon, Failed, Row, publisher, wait_until

RATE_PER_S = 1000
SECONDS = 60
ON_DELAY_S = 2.0
ALARMS_PER_S = 5
BEYOND_S = 4.0
ALARMS = f"""[alarms.too-hot]
priority = "high"
on_delay = "{ON_DELAY_S:.0f} s"
off_delay = "1 s"
[alarms.no-refuge]
priority = "high"
on_delay = "{ON_DELAY_S:.0f} s"
off_delay = "1 s"
"""


def write_plan(path, probes):
    """Every probe in turn, 3.3 times a second. ALARMS_PER_S spots a second, each once, go 2.2 degC beyond their
    band at moments drawn at random; the first message beyond carries the spot's name for the publisher's log."""
    draw = random.Random(4)
    chosen = draw.sample(range(len(probes)), ALARMS_PER_S * (SECONDS - 10))
    begins = {number: draw.uniform(2.0, SECONDS - 2 - BEYOND_S) for number in chosen}
    top = {"hot": 34.0, "middle": 32.0, "cool": 28.0}
    told = set()
    with open(path, "w") as plan:
        for line in range(RATE_PER_S * SECONDS):
            number = line % len(probes)
            topic, zone, plain = probes[number]
            at = line / RATE_PER_S
            begin = begins.get(number, 1e9)
            beyond = begin <= at < begin + BEYOND_S
            value = top[zone] + (1.2 if beyond else -1.0) + 0.01 * (line // len(probes) % 5)
            label = ""
            if beyond and number not in told:
                told.add(number)
                label = "\t" + "/".join(topic.split("/")[1:])
            plan.write(f"{topic}\t{rooms.payload(plain, value)}{label}\n")
    return len(told)


def calls_of(path):
    """When the channel was first called for each spot's alarm, in ns."""
    first = {}
    for line in path.read_text().splitlines():
        at, text = line.split("\t", 1)
        message = json.loads(text)
        if message["reason"] == "raised" and message["zone"]:
            first.setdefault(f"{message['place_id']}/{message['zone']}", int(at))
    return first


def share(ordered, part):
    return ordered[min(len(ordered) - 1, int(len(ordered) * part))]


def measure(folder):
    settings_text, probes = rooms.three_hundred_probes()
    plan, sent = folder / "plan", folder / "sent"
    expected = write_plan(plan, probes)
    with Broker(folder) as broker:
        with Daemon(folder, rooms.moment_head(folder, broker.port) + ALARMS + settings_text) as daemon:
            with publisher(folder, broker.port, plan, RATE_PER_S * SECONDS, RATE_PER_S, 1, sent) as publishing:
                publishing.wait(SECONDS + 30)
            wait_until("the last commit", lambda: daemon.ask("status")["store"]["readings_stored"]
                       >= RATE_PER_S * SECONDS, 10, 0.2)
            time.sleep(1)
            status = daemon.ask("status")
    began = {label: int(at) for at, label in (line.split() for line in sent.read_text().splitlines())}
    calls = calls_of(folder / "moments")
    if len(began) != expected:
        raise Failed(f"the publisher logged {len(began)} of {expected} beginnings")
    missing = sorted(set(began) - set(calls))
    late_ms = sorted((calls[spot] - began[spot]) / 1e6 - ON_DELAY_S * 1000 for spot in began if spot in calls)
    # An alarm that was never told counts as one that came too late.
    late_ms += [float("inf")] * len(missing)
    at_99 = share(late_ms, 0.99)
    rows = [Row("beyond the on-delay, 50 %", f"{share(late_ms, 0.5):.1f} ms", "", None),
            Row("beyond the on-delay, 99 %", f"{at_99:.1f} ms", "<= 50 ms", at_99 <= 50),
            Row("beyond the on-delay, the latest", f"{late_ms[-1]:.1f} ms", "", None),
            Row("alarms never told", f"{len(missing)}", "0", not missing),
            Row("alarms told before their on-delay was over", f"{sum(ms < -1 for ms in late_ms)}", "0",
                not any(ms < -1 for ms in late_ms))]
    notes = [f"{expected} alarms, {ALARMS_PER_S} a second at random moments, on-delay {ON_DELAY_S:.0f} s; as many "
             f"\"over\" messages between them; {status['delivery']['delivered']} messages delivered in all.",
             "From writing the first reading beyond the limit to the broker's socket, plus the on-delay, to the "
             "channel plugin's first instruction."]
    return f"4. {RATE_PER_S:,} readings a second with alarms arising", rows, notes
