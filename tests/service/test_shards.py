#!/usr/bin/env python3
"""Four shards on one broker, each as systemd/subslabd@.service starts it: settings, store, socket,
page, session and topics of its own. tests/package/booted.py runs the same template under systemd.
"""
import json
import os
import shutil
import signal
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (BUILD, LOW_AT_ONCE, SANITIZED, SOURCE, Daemon, Suite, check,  # noqa: E402
                     contact, equal, notices, now_ms, point, rfc3339, system, timed,
                     wait_until, write_file)

suite = Suite()
TEMPLATE = os.path.join(SOURCE, "systemd", "subslabd@.service")
SHARDS = ("north", "south", "east", "west")
SYSTEMS, READINGS = 10, 100  # a shard; of each of the four points of a system
POINTS = (("suction", "suction", "Pa"), ("hole-1", "field", "Pa"), ("fan-power", "fan-power", "W"),
          ("radon", "radon", "Bq/m3"))


def unit_value(key, shard):
    """One line of the template, its specifiers filled in as systemd.unit(5) says."""
    with open(TEMPLATE, encoding="utf-8") as file:
        values = [line.split("=", 1)[1].strip() for line in file if line.startswith(key + "=")]
    equal(len(values), 1, f"lines {key}= of the template")
    check("%" not in values[0].replace("%i", ""), f"{key} has a specifier that is not known here")
    return values[0].replace("%i", shard)


class Shard(Daemon):
    """Started as the template says, below a folder that stands for the root of the machine."""

    def __init__(self, top, broker_port, shard, systems, contacts=(), filters=None):
        program, *arguments = unit_value("ExecStart", shard).split()
        equal((program, arguments[0]), ("/usr/bin/subslabd", "--settings"), "ExecStart")
        self.shard = shard
        state = os.path.join(top, "var", unit_value("StateDirectory", shard))
        runtime = os.path.join(top, "run", unit_value("RuntimeDirectory", shard))
        for folder in (state, runtime, os.path.join(top, "etc", "subslabd", shard)):
            os.makedirs(folder, exist_ok=True)
        super().__init__(state, broker_port, systems, contacts, client_id=f"subslabd-{shard}",
                         store=os.path.join(state, "subslab.db"), conditions=LOW_AT_ONCE,
                         broker={"subscribe": filters or [f"subslab/{shard}/#"]},
                         operator_socket=os.path.join(runtime, "operator.sock"))
        self.settings["systems"] = f"{shard}/"
        self.socket = self.settings["operator_socket"]
        os.remove(self.settings_file)
        shutil.rmtree(os.path.join(state, "systems"))
        self.settings_file = top + arguments[1]
        self.write_settings()

    def write_settings(self):
        super().write_settings()
        if os.path.dirname(self.settings_file) == self.folder:
            return
        systems = self.settings_file.removesuffix(".yaml")
        shutil.rmtree(systems)
        shutil.move(os.path.join(self.folder, "systems"), systems)

    def tool(self, *words, status=0):
        done = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", self.settings_file,
                               *words], capture_output=True, text=True, timeout=60, check=False)
        equal(done.returncode, status, f"{words}: {done.stdout[-300:]}{done.stderr[-300:]}")
        return done.stdout

    def reload(self):
        told = self.log().count("settings: ")
        self.process.send_signal(signal.SIGHUP)
        wait_until(lambda: self.log().count("settings: ") > told, 10, "the settings read again")


def shard_system(shard, number):
    """Its topics have the shard as a level of their own."""
    ident = f"{shard}-{number}"
    return system(ident, [point(name, quantity, unit, every="10 min",
                                topic=f"subslab/{shard}/{ident}/{name}")
                          for name, quantity, unit in POINTS])


def shards(place, broker, hook=None):
    top = place.new_folder("machine")
    made = {}
    for shard in SHARDS:
        contacts = [contact("office", hook, f"/{shard}")] if hook else []
        made[shard] = Shard(top, broker.port, shard,
                            [shard_system(shard, i) for i in range(SYSTEMS)], contacts)
        place.daemons.append(made[shard])
    return made


def made_readings(shard, begin, first, count):
    """[(topic, system, point, time, value)]: by time, every value another."""
    found = []
    for step in range(first, first + count):
        for number in range(SYSTEMS):
            for p, (name, _, _) in enumerate(POINTS):
                value = 120 + (SHARDS.index(shard) * 31 + number * 7 + p * 3 + step) % 50
                found.append((f"subslab/{shard}/{shard}-{number}/{name}", f"{shard}-{number}", name,
                              begin + step * 600_000, value))
    return found


def interleaved(lists):
    return [one for together in zip(*lists) for one in together]


def messages(readings):
    return [(topic, timed(value, at)) for topic, _, _, at, value in readings]


def expected(readings):
    found = {}
    for _, ident, name, at, value in readings:
        found.setdefault(ident, {}).setdefault(name, []).append((at, value))
    return found


def stored(daemon, readings):
    return daemon.metric("subslab_readings_total") >= len(readings)


@suite.test
def each_reading_is_in_the_one_shard_it_belongs_to(place):
    broker, hook = place.broker(), place.endpoint()
    daemons = shards(place, broker, hook)
    for daemon in daemons.values():
        daemon.start()
    begin = now_ms() - READINGS * 600_000 - 3_600_000
    halves = [{shard: made_readings(shard, begin, part * READINGS // 2, READINGS // 2)
               for shard in SHARDS} for part in (0, 1)]
    broker.publish(messages(interleaved(halves[0].values())))
    daemons["north"].kill()
    ids = {shard: daemons[shard].process.pid for shard in SHARDS[1:]}
    broker.publish(messages(interleaved(halves[1].values())))
    whole = {shard: halves[0][shard] + halves[1][shard] for shard in SHARDS}
    for shard in SHARDS[1:]:
        wait_until(lambda s=shard: stored(daemons[s], whole[s]), 60, f"{shard}, while north is away")
        equal(daemons[shard].process.poll(), None, f"{shard} after the death of north")
    # A low reading in each shard: told by that shard alone, by north when it is back.
    at = now_ms() - 1000
    low = {shard: (f"subslab/{shard}/{shard}-3/suction", f"{shard}-3", "suction", at, 40)
           for shard in SHARDS}
    broker.publish(messages(low.values()))
    daemons["north"].start()
    for shard in SHARDS:
        whole[shard].append(low[shard])
        wait_until(lambda s=shard: notices(hook, f"/{s}"), 60, f"the message of {shard}")
        equal(notices(hook, f"/{shard}"), [(f"{shard}-3", "raised", "suction-low")],
              f"messages of {shard}")
    for shard, daemon in daemons.items():
        wanted = expected(whole[shard])
        for number in range(SYSTEMS):
            ident = f"{shard}-{number}"
            wait_until(lambda d=daemon, i=ident: d.readings(i) == wanted[i], 60,
                       f"the readings of {ident}, each once")
        equal(daemon.refused(), {}, f"refused by {shard}")
        equal(daemon.get("/api/unclaimed"), [], f"topics at {shard} that are not its own")
        listed = daemon.tool("systems")
        equal({one for one in SHARDS if f"{one}-3" in listed}, {shard}, "systems by subslabctl")
        daemon.tool("verify")
    for shard, pid in ids.items():
        equal(daemons[shard].process.pid, pid, f"process of {shard}")


@suite.test
def a_topic_without_a_point_is_seen_only_where_a_filter_takes_it(place):
    broker = place.broker()
    daemons = shards(place, broker)
    for daemon in daemons.values():
        daemon.start()
    broker.publish([("subslab/north/new-house/suction", "1"), ("subslab/centre/house/suction", "1")]
                   + [(f"subslab/{shard}/{shard}-0/suction", timed(150, now_ms()))
                      for shard in SHARDS])
    for shard, daemon in daemons.items():
        wait_until(lambda d=daemon, s=shard: d.readings(f"{s}-0"), 20, f"a reading at {shard}")
        equal([one["topic"] for one in daemon.get("/api/unclaimed")],
              ["subslab/north/new-house/suction"] if shard == "north" else [], f"unclaimed at {shard}")


@suite.test
def what_two_shards_must_not_share_is_told(place):
    broker, top = place.broker(), place.new_folder("machine")
    north, south = (Shard(top, broker.port, shard, [shard_system(shard, 0)])
                    for shard in SHARDS[:2])
    place.daemons += [north, south]
    north.start()
    own = south.settings["store"]["file"]
    south.settings["store"]["file"] = north.settings["store"]["file"]
    south.write_settings()
    status, said = south.run_to_end()
    check(status != 0 and north.settings["store"]["file"] in said, f"one store: {status} {said}")
    south.settings["store"]["file"] = own
    south.settings["page"]["port"] = north.page_port
    south.write_settings()
    status, said = south.run_to_end()
    check(status != 0 and str(north.page_port) in said, f"one port: {status} {said}")
    south.settings["page"]["port"] = south.page_port
    south.settings["broker"]["client_id"] = "subslabd-north"
    south.write_settings()
    south.start(wait_connected=False)
    wait_until(lambda: 'another client uses the id "subslabd-north"' in north.log() + south.log(), 30,
               "one client id is told")


@suite.test
def a_system_moves_to_another_shard(place):
    """As systemd/SCALE.md says."""
    broker, hook = place.broker(), place.endpoint()
    daemons = shards(place, broker, hook)
    north, south = daemons["north"], daemons["south"]
    begin = now_ms() - 40 * 600_000
    moving = shard_system("north", 7)
    record = os.path.join(place.new_folder("records"), "north-7.yaml")
    write_file(record, f"date: {rfc3339(begin - 60_000)}\nby: the installer\npoints:\n  suction: 300 Pa\n")
    for daemon in (north, south):
        daemon.start()
    mine = [one for one in made_readings("north", begin, 0, 30) if one[1] == "north-7"]
    north.tool("commission", "north-7", record)
    broker.publish(messages(mine))
    wait_until(lambda: stored(north, mine), 30, "the readings at north")
    # 1: the new shard takes it in, out of service so that one alarm is not told twice.
    south.settings["broker"]["subscribe"].append("subslab/north/north-7/#")
    south.systems.append(moving)
    south.write_settings()
    south.reload()
    south.wait_connected()
    south.tool("out-of-service", "north-7", "--until", "2 h", "--by", "the office", "--why", "moving")
    meanwhile = [(f"subslab/north/north-7/{name}", "north-7", name, begin + 31 * 600_000, 150)
                 for name, _, _ in POINTS]
    broker.publish(messages(meanwhile))
    wait_until(lambda: south.readings("north-7", "radon"), 20, "south takes it in")
    # 2: the record and the history.
    south.tool("commission", "north-7", record)
    history = os.path.join(os.path.dirname(record), "north-7.csv")
    write_file(history, north.tool("export", "north-7"))
    south.tool("import", history)
    equal(south.readings("north-7"), expected(mine + meanwhile)["north-7"], "readings at south")
    equal(south.get("/api/systems/north-7")["commissioning"][0]["points"],
          north.get("/api/systems/north-7")["commissioning"][0]["points"], "commissioning")
    # 3: the old shard lets go.
    north.systems = [one for one in north.systems if one["id"] != "north-7"]
    north.write_settings()
    north.reload()
    south.tool("return-to-service", "north-7")
    last = ("subslab/north/north-7/suction", "north-7", "suction", now_ms() - 1000, 40)
    broker.publish(messages([last]))
    wait_until(lambda: notices(hook, "/south"), 30, "the message of south")
    equal(notices(hook, "/south"), [("north-7", "raised", "suction-low")], "messages of south")
    equal(notices(hook, "/north"), [], "messages of north")
    wait_until(lambda: [one["topic"] for one in north.get("/api/unclaimed")] == [last[0]], 20,
               "north has the topic as unclaimed")
    equal(north.request("GET", "/api/systems/north-7").status, 404, "north-7 at north")


@suite.test
def a_shard_is_divided_and_loses_nothing(place):
    """As systemd/SCALE.md says: readings go on all the time."""
    broker, hook, top = place.broker(), place.endpoint(), place.new_folder("machine")
    kept, moved = [[shard_system("north", i) for i in part] for part in ((0, 1, 2, 3, 4), (5, 6, 7, 8, 9))]
    begin = now_ms() - 60 * 600_000
    parts = [made_readings("north", begin, 10 * part, 10) for part in range(5)]
    old = Shard(top, broker.port, "north", kept + moved, [contact("office", hook, "/north")])
    new = Shard(top, broker.port, "south", moved, filters=["subslab/north/#"])
    place.daemons += [old, new]
    old.start()
    low = ("subslab/north/north-6/suction", "north-6", "suction", begin - 600_000, 40)
    broker.publish(messages([low] + parts[0]))
    wait_until(lambda: stored(old, parts[0]), 30, "the readings of before")
    new.start()
    broker.publish(messages(parts[1]))
    equal(new.stop(), 0, "exit status")
    broker.publish(messages(parts[2]))
    equal(old.stop(), 0, "exit status")
    broker.publish(messages(parts[3]))
    shutil.copy(old.store, new.store)
    for daemon, mine in ((old, kept), (new, moved)):
        daemon.systems = mine
        daemon.contacts = [contact("office", hook, f"/{daemon.shard}")]
        daemon.write_settings()
    for daemon in (new, old):
        daemon.start()
    broker.publish(messages(parts[4]))
    wanted = expected([low] + [one for part in parts for one in part])
    for daemon, mine in ((old, kept), (new, moved)):
        for one in mine:
            wait_until(lambda d=daemon, i=one["id"]: d.readings(i) == wanted[i], 30,
                       f"the readings of {one['id']} at {daemon.shard}")
        daemon.tool("verify")


@suite.test
def the_example_of_the_page_is_good(place):
    top = place.new_folder("machine")
    with open(os.path.join(SOURCE, "systemd", "SCALE.md"), encoding="utf-8") as file:
        example = file.read().split("```yaml\n")[1].split("```")[0]
    settings = write_file(os.path.join(top, "north.yaml"), example, 0o640)
    write_file(os.path.join(top, "north-password"), "secret\n")
    os.makedirs(os.path.join(top, "north"))
    write_file(os.path.join(top, "north", "n.yaml"), json.dumps(shard_system("north", 0)), 0o640)
    done = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", settings, "check"],
                          capture_output=True, text=True, timeout=60, check=False)
    equal(done.returncode, 0, done.stdout + done.stderr)
    # What the unit makes for the shard is what the example names.
    for key, folder in (("StateDirectory", "/var/lib/"), ("RuntimeDirectory", "/run/")):
        check(f"{folder}{unit_value(key, 'north')}/" in example, f"{key} is not in the example")
    equal(unit_value("ExecStart", "north").split()[-1], example.split("\n")[0].lstrip("# "), "settings")


def seconds_for_backlog(place, divided):
    """[readings, seconds] from the start of all daemons until everything is stored."""
    broker = place.broker()
    count = READINGS if SANITIZED else 6 * READINGS
    everything = {shard: made_readings(shard, now_ms() - count * 600_000, 0, count)
                  for shard in SHARDS}
    if divided:
        daemons = shards(place, broker)
    else:
        daemons = {"whole": Shard(place.new_folder("machine"), broker.port, "whole",
                                  [shard_system(shard, i) for shard in SHARDS for i in range(SYSTEMS)],
                                  filters=["subslab/#"])}
        place.daemons.append(daemons["whole"])
    for daemon in daemons.values():
        daemon.start()
    for daemon in daemons.values():
        daemon.stop()
    broker.publish(messages(interleaved(everything.values())))
    began, total = time.monotonic(), sum(map(len, everything.values()))
    for daemon in daemons.values():
        daemon.spawn()
    for daemon in daemons.values():
        wait_until(daemon.is_ready, 30, "READY")
    wait_until(lambda: sum(d.metric("subslab_readings_total") for d in daemons.values()) == total,
               120, "the whole backlog")
    return total, time.monotonic() - began


@suite.test
def four_shards_take_a_backlog_about_as_fast_as_one_daemon(place):
    seconds_for_backlog(place, False)  # so that neither pays for the first time
    total, one = seconds_for_backlog(place, False)
    _, four = seconds_for_backlog(place, True)
    print(f"        backlog of {total} readings, from the start: one daemon {one:.2f} s, four shards "
          f"{four:.2f} s; ratio {one / four:.2f} on {os.cpu_count()} processors", flush=True)
    check(one / four > 0.2, f"four shards need {four / one:.1f} times the time of one daemon")


if __name__ == "__main__":
    suite.run()
