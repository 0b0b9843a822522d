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


def tool_of(daemons, *words, status=0):
    """One command over several daemons."""
    named = [part for daemon in daemons for part in ("--settings", daemon.settings_file)]
    done = subprocess.run([os.path.join(BUILD, "subslabctl"), *named, *words], capture_output=True,
                          text=True, timeout=60, check=False)
    equal(done.returncode, status, f"{words}: {done.stdout[-300:]}{done.stderr[-300:]}")
    return done


@suite.test
def several_settings_give_one_list(place):
    broker = place.broker()
    daemons = shards(place, broker)
    for daemon in daemons.values():
        daemon.start()
    raised = (("east", "east-3"), ("north", "north-7"), ("west", "west-0"))
    for shard, ident in raised:
        broker.publish([(f"subslab/{shard}/{ident}/suction", timed(50, now_ms()))])
        daemons[shard].alarm("suction-low")
    every = list(daemons.values())
    systems = json.loads(tool_of(every, "systems", "--json").stdout)
    equal(len(systems), len(SHARDS) * SYSTEMS, "systems")
    equal({(s["settings"], s["id"]) for s in systems[:3]},
          {(daemons[shard].settings_file, ident) for shard, ident in raised}, "the worst first")
    text = tool_of(every, "systems", "--status", "out of spec").stdout
    equal([line.split()[:2] for line in text.splitlines()[1:]],
          [["north", "north-7"], ["east", "east-3"], ["west", "west-0"]], text)
    alarms = json.loads(tool_of(every, "alarms", "--json").stdout)
    equal([a["system"] for a in alarms], [ident for _, ident in reversed(raised)], "newest first")
    equal(len(json.loads(tool_of(every, "alarms", "--limit", "2", "--json").stdout)), 2, "limit")
    table = tool_of(every, "alarms").stdout
    equal(table.split()[0], "SHARD", table)
    visits = json.loads(tool_of(every, "visits", "--json").stdout)
    equal({v["system"] for v in visits}, {ident for _, ident in raised}, "visits")
    equal(sorted(v["due"] for v in visits), [v["due"] for v in visits], "the most urgent first")
    tool_of(every, "show", "east-3", status=2)
    tool_of(every, "alarms", "--before", "3", status=2)
    daemons["east"].stop()
    partly = tool_of(every, "systems", "--json", status=1)
    equal(len(json.loads(partly.stdout)), (len(SHARDS) - 1) * SYSTEMS, "those that answered")
    check("no daemon answers" in partly.stderr, partly.stderr)


def known_of(daemon, ident):
    """All that people see of a system, without what is a number or a name of this store alone."""
    show = daemon.get(f"/api/systems/{ident}")
    alarms = [{key: value for key, value in one.items() if key != "id"}
              for one in daemon.get("/api/alarms", all="1", system=ident)]
    return {"readings": daemon.readings(ident), "alarms": alarms,
            "tests": [{key: value for key, value in one.items() if key != "id"}
                      for one in daemon.get(f"/api/systems/{ident}/radon-tests")],
            **{key: show[key] for key in ("status", "commissioning", "last_visit", "service", "averages")
               if key in show}}


def same(found, expected, what):
    for key in expected.keys() | found.keys():
        if found.get(key) == expected.get(key):
            continue
        if isinstance(found.get(key), list) and isinstance(expected.get(key), list):
            equal(len(found[key]), len(expected[key]), f"{what}: {key}")
            for one, other in zip(found[key], expected[key]):
                same(one, other, f"{what}: {key}")
        elif isinstance(found.get(key), dict) and isinstance(expected.get(key), dict):
            same(found[key], expected[key], f"{what}: {key}")
        else:
            equal(str(found.get(key))[:300], str(expected.get(key))[:300], f"{what}: {key} {sorted(found)} {sorted(expected)}")


def moving_shards(place):
    """North and south, the fleet of each, and a life of north-7: old days and new ones, records, an
    alarm that is over, one that stands and was acknowledged."""
    broker, hook = place.broker(), place.endpoint()
    daemons = shards(place, broker, hook)
    north, south = daemons["north"], daemons["south"]
    for daemon in (north, south):
        daemon.settings["enrolled_systems"] = os.path.join(daemon.folder, "enrolled")
        daemon.write_settings()
        daemon.start()
    begin = now_ms() - 9 * 86_400_000
    mine = [one for part in (0, 1200) for one in made_readings("north", begin, part, 90)
            if one[1] == "north-7"]
    record = write_file(os.path.join(place.new_folder("records"), "north-7.yaml"),
                        f"date: {rfc3339(begin - 60_000)}\nby: the installer\n"
                        "points:\n  suction: 300 Pa\n")
    north.tool("commission", "north-7", record)
    north.tool("radon-test", "north-7", "120 Bq/m3", "--from", rfc3339(begin)[:10], "--to",
               rfc3339(begin + 3 * 86_400_000)[:10], "--place", "cellar", "--device", "canister",
               "--by", "the office")
    north.tool("visit-done", "north-7", "--on", rfc3339(begin + 86_400_000)[:10], "--by", "the office",
               "--found", "a loose tube", "--did", "pushed it on")
    broker.publish(messages(mine))
    wait_until(lambda: stored(north, mine), 30, "the readings at north")
    for told, (age_ms, value) in enumerate(((60_000, 40), (50_000, 150), (40_000, 40))):
        one = ("subslab/north/north-7/suction", "north-7", "suction", now_ms() - age_ms, value)
        mine.append(one)
        broker.publish(messages([one]))
        wait_until(lambda: len(notices(hook)) > told, 30, "the message of it")
    ident = north.alarm("suction-low")["id"]
    north.tool("acknowledge", str(ident), "--by", "the office", "--note", "on my way")
    wait_until(lambda: [what for _, what, _ in notices(hook)] ==
               ["raised", "returned", "raised", "acknowledged"], 30, "all is told")
    wait_until(lambda: all(one["state"] == "sent" for one in north.deliveries()), 30, "all is sent")
    return broker, hook, north, south


def move(daemon, other, *words, status=0):
    done = subprocess.run([os.path.join(BUILD, "subslabctl"), "--settings", daemon.settings_file, "move",
                           "north-7", "--to", other.settings_file, "--by", "the office", *words],
                          capture_output=True, text=True, timeout=120, check=False)
    equal(done.returncode, status, f"move {words}: {done.stdout[-300:]}{done.stderr[-600:]}")
    return done.stdout + done.stderr


@suite.test
def a_system_moves_to_another_shard_with_all_that_is_known_of_it(place):
    """As systemd/SCALE.md says."""
    broker, hook, north, south = moving_shards(place)
    said = move(north, south, status=1)
    check("no filter takes" in said and "subslab/north/north-7/suction" in said, said)
    south.settings["broker"]["subscribe"].append("subslab/north/north-7/#")
    south.write_settings()
    south.reload()
    south.wait_connected()
    before, others = known_of(north, "north-7"), len(north.get("/api/systems"))
    said = move(north, south, "--check")
    count = sum(map(len, before["readings"].values()))
    equal(said, f"north-7: {count} readings, {len(before['alarms'])} alarms, 3 records could go to "
                f"{south.settings_file}\n", "what --check says")
    equal(south.request("GET", "/api/systems/north-7").status, 404, "--check changes nothing")
    same(known_of(north, "north-7"), before, "--check changes nothing")
    told = len(notices(hook))
    said = move(north, south)
    check("enrolled/north-7.yaml" in said, said)
    same(known_of(south, "north-7"), before, "what south knows")
    equal(north.request("GET", "/api/systems/north-7").status, 404, "north-7 at north")
    equal(len(north.get("/api/systems")), others - 1, "systems of north")
    for daemon in (north, south):
        daemon.tool("verify")
    # South tells the end of what north told; nobody is told anything twice.
    broker.publish([("subslab/north/north-7/suction", timed(150, now_ms() - 1000))])
    wait_until(lambda: len(notices(hook)) > told, 30, "the message of south")
    equal(notices(hook)[told:], [("north-7", "returned", "suction-low")], "messages since the move")
    # And back again: the store of north has kept nothing of it.
    north.settings["broker"]["subscribe"] = ["subslab/north/#"]
    before = known_of(south, "north-7")
    wait_until(lambda: all(one["state"] == "sent" for one in south.deliveries()), 30, "all is told")
    move(south, north)
    same(known_of(north, "north-7"), before, "what north knows again")


@suite.test
def a_system_moves_only_where_there_is_none_of_its_name(place):
    _, _, north, south = moving_shards(place)
    south.settings["broker"]["subscribe"].append("subslab/north/north-7/#")
    south.systems.append(shard_system("north", 7))
    south.write_settings()
    south.reload()
    before = known_of(north, "north-7")
    said = move(north, south, status=1)
    check('watches a system "north-7"' in said, said)
    south.tool("commission", "north-7", os.path.join(place.folder, next(
        name for name in os.listdir(place.folder) if name.startswith("records")), "north-7.yaml"))
    south.systems.pop()
    south.write_settings()
    south.reload()
    said = move(north, south, status=1)
    check('earlier system "north-7"' in said, said)
    same(known_of(north, "north-7"), before, "what north knows")
    south.stop()
    check("no daemon answers" in move(north, south, status=1), "of the other")
    same(known_of(north, "north-7"), before, "what north knows")


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
