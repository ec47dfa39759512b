"""Settings and publishing plans of the benchmarks: rooms whose figures are the same at any hour."""

from parts import BUILD, ROOT

TIME = "@" * 13  # the publisher puts the time there, in milliseconds since 1970


def head(folder, port, plugins, channels, person_channels):
    return f"""care.folders = ["{ROOT}/config/care"]
[room]
name = "Bench"
time_zone = "Europe/London"
lights = {{ on = "08:00", off = "20:00" }}
[broker]
address = "mqtt://127.0.0.1:{port}"
client_id = "bench"
[store]
path = "{folder}/room.db"
[service]
socket = "{folder}/baskwell.sock"
plugins = [{", ".join(f'"{p}"' for p in plugins)}]
{channels}
[people.rowan]
name = "Rowan"
channels = [{person_channels}]
"""


def mail_head(folder, port):
    """Mail that goes nowhere (nothing listens on port 9): no alarm is to be told in these rooms."""
    channels = """[channels.mail]
kind = "email"
server = "smtp://127.0.0.1:9"
from = "bench@example.org"
allow_plain = true
"""
    return head(folder, port, [BUILD / "plugins"], channels, '{ channel = "mail", address = "rowan@example.org" }')


def moment_head(folder, port):
    channels = f'[channels.moment]\nkind = "moment"\nlog = "{folder}/moments"\n'
    return head(folder, port, [BUILD / "plugins", BUILD / "bench-plugins"], channels,
                '{ channel = "moment", address = "x" }')


# Day and night the same, so that the hour of the run changes nothing.
BANDS = """bands.hot.temperature = { day = [28, 34], harm = [15, 45], source = "bench" }
bands.middle.temperature = { day = [24, 32], harm = [15, 45], source = "bench" }
bands.cool.temperature = { day = [22, 28], harm = [15, 45], source = "bench" }
bands.cool.humidity = { day = [40, 80], harm = "none", source = "bench" }
"""
CENTRE_DEGC = {"hot": 31.0, "middle": 28.0, "cool": 25.0}


def enclosure(name, animal):
    return f"""[enclosures.{name}]
size_cm = [90, 45, 45]
{BANDS}[animals.{animal}]
species = "corn-snake"
enclosure = "{name}"
"""


def three_hundred_probes():
    """100 enclosures with a hot, a middle and a cool probe; every second probe plain, the others JSON with a
    battery and a time of their own."""
    text = ""
    probes = []
    for e in range(100):
        name = f"e{e}"
        text += enclosure(name, f"a{e}")
        for z, zone in enumerate(("hot", "middle", "cool")):
            number = e * 3 + z
            topic = f"bench/{name}/{zone}"
            plain = number % 2 == 0
            text += f'[instruments.p{number}]\ntopic = "{topic}"\nunit = "degC"\n'
            text += f'enclosure = "{name}"\nzone = "{zone}"\n'
            if not plain:
                text += 'pointer = "/temperature"\ntime = "/time"\n'
            probes.append((topic, zone, plain))
    return text, probes


def payload(plain, value):
    if plain:
        return f"{value:.2f}"
    return f'{{"temperature": {value:.2f}, "battery_v": 2.97, "time": {TIME}}}'


def slow_plan(path, probes):
    """Each probe goes up and down by a degree in steps of 0.02, so that going round again is no jump."""
    steps = list(range(50)) + list(range(50, 0, -1))
    with open(path, "w") as plan:
        for step in steps:
            for number, (topic, zone, plain) in enumerate(probes):
                value = CENTRE_DEGC[zone] - 0.5 + 0.02 * step + 0.01 * (number % 7)
                plan.write(f"{topic}\t{payload(plain, value)}\n")
    return len(steps) * len(probes)


def quiet_room():
    """12 enclosures with 5 channels each, every channel once in 30 s, like the demo room: half of the instruments
    send plain payloads a channel, half JSON with a time, kept by the broker while we are away."""
    text = ""
    topics = []
    for e in range(12):
        name = f"e{e}"
        text += enclosure(name, f"a{e}")
        text += f'[heaters.h{e}]\nkind = "mat"\npower_w = 40\nenclosure = "{name}"\n'
        text += f'[thermostats.t{e}]\nkind = "on-off"\nset_degc = 31\nheater = "h{e}"\n'
        text += f'[instruments.i{e}]\ninterval = "30 s"\nenclosure = "{name}"\n'
        places = [("hot", "degC", "hot"), ("middle", "degC", "middle"), ("cool", "degC", "cool"),
                  ("rh", "%RH", "cool"), ("battery", "V", None)]
        if e % 2 == 1:
            text += f'topic = "bench/{name}"\ntime = "/time"\nkeep_queued = true\n'
            topics.append((f"bench/{name}", None))
        text += "channels = [\n"
        for label, unit, zone in places:
            where = f', zone = "{zone}"' if zone else ""
            at = f'pointer = "/{label}"' if e % 2 == 1 else f'topic = "bench/{name}/{label}"'
            text += f'  {{ {at}, unit = "{unit}"{where} }},\n'
            if e % 2 == 0:
                topics.append((f"bench/{name}/{label}", label))
        text += "]\n"
    return text, topics


def quiet_plan(path, topics, rounds):
    """One round is 30 s. A JSON message carries five readings, so 36 messages a round make 60 readings."""
    centre = {**CENTRE_DEGC, "rh": 60.0, "battery": 2.95}
    with open(path, "w") as plan:
        for r in range(rounds):
            for number, (topic, label) in enumerate(topics):
                drift = 0.1 * ((r + number) % 4)
                if label:
                    plan.write(f"{topic}\t{centre[label] + drift:.2f}\n")
                else:
                    members = ", ".join(f'"{k}": {v + drift:.2f}' for k, v in centre.items())
                    plan.write(f'{topic}\t{{{members}, "time": {TIME}}}\n')
    return len(topics)
