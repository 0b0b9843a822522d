#!/usr/bin/env python3
"""Trouble around the store and the process: another process holds it, an old copy is put back, the
loop stands still, one start follows another."""
import contextlib
import json
import os
import shutil
import sqlite3
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (BUILD, LOW_AT_ONCE, Suite, check, contact, equal, events, now_ms,  # noqa: E402
                     point, stays, system, timed, wait_until, write_file)

suite = Suite()
MILL = system("mill", [point("suction")])


def send(broker, *values):
    at = now_ms()
    made = [(at + i, v) for i, v in enumerate(values)]
    broker.publish([("subslab/mill/suction", timed(v, t)) for t, v in made])
    return made


@suite.test
def another_process_that_holds_the_store_is_told_and_waited_for(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    made = send(broker, 300)
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")
    shell = sqlite3.connect(daemon.store, isolation_level=None)
    shell.execute("BEGIN EXCLUSIVE")
    made += send(broker, 301, 302, 303)
    event = wait_until(lambda: events(hook, condition="store-failing"), 20, "told from memory")[0]
    check("another process holds the database" in json.dumps(event), f"{event['data']}")
    equal(daemon.health()[0], 503, "/health meanwhile")
    shell.execute("ROLLBACK")
    shell.close()
    wait_until(lambda: daemon.readings("mill", "suction") == made, 30, "each reading once")
    wait_until(lambda: daemon.health()[0] == 200, 20, "/health")


@suite.test
def an_old_copy_put_back_goes_on_from_what_it_holds(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    made = send(broker, 300, 50)
    wait_until(lambda: events(hook, kind="alarm.raised"), 20, "the raise")
    wait_until(lambda: [d["state"] for d in daemon.deliveries()] == ["sent"], 10, "marked")
    equal(daemon.stop(), 0, "exit status")
    shutil.copy(daemon.store, daemon.store + ".copy")
    daemon.start()
    lost = send(broker, 300)
    wait_until(lambda: events(hook, kind="alarm.returned"), 20, "the return")
    equal(daemon.stop(), 0, "exit status")
    shutil.copy(daemon.store + ".copy", daemon.store)
    daemon.start()
    equal(daemon.readings("mill", "suction"), made, "what the copy holds")
    equal([a["condition"] for a in daemon.alarms()], ["suction-low"], "the alarm of then stands")
    # Sent once more, by a sender that keeps its readings: taken as new, and told again.
    broker.publish([("subslab/mill/suction", timed(v, t)) for t, v in lost])
    wait_until(lambda: daemon.readings("mill", "suction") == made + lost, 10, "taken again")
    wait_until(lambda: len(events(hook, kind="alarm.returned")) == 2, 20, "the return again")
    equal(len(events(hook, kind="alarm.raised")), 1, "the raise of the copy is not sent again")


def beats(daemon, seconds):
    """How often the watchdog was fed in so many seconds."""
    before = daemon.notifications().count("WATCHDOG=1")
    time.sleep(seconds)
    return daemon.notifications().count("WATCHDOG=1") - before


@suite.test
def damage_that_opening_does_not_see_is_set_aside_at_its_second_time(place):
    """A page that opening leaves alone is overwritten: what opens well can't be written."""
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    send(broker, *range(300, 340))
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 40, 20, "readings")
    equal(daemon.stop(), 0, "exit status")
    with sqlite3.connect(daemon.store) as shell:
        shell.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (size,), = shell.execute("PRAGMA page_size")
        (root,), = shell.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'unclaimed'")
    shell.close()
    with open(daemon.store, "r+b") as file:
        file.seek((root - 1) * size)
        file.write(b"\xff" * size)
    daemon.start()
    for name in ("nobody/knows/it", "subslab/no/such"):
        broker.publish([(name, "1")])
    made = send(broker, 350)
    wait_until(lambda: events(hook, condition="store-damaged"), 60, "told")
    wait_until(lambda: daemon.readings("mill", "suction")[-1:] == made, 30, "a store that takes readings")
    aside = [name for name in os.listdir(os.path.dirname(daemon.store))
             if name.startswith(os.path.basename(daemon.store) + ".") and "damaged" in name]
    check(aside, f"set aside: {os.listdir(os.path.dirname(daemon.store))}")
    raised = events(hook, condition="store-failing", kind="alarm.raised")
    check(len(raised) <= 2, f"once for each time, and no more: {len(raised)}")
    wait_until(lambda: daemon.health()[0] == 200, 30, "/health")


@suite.test
def a_loop_that_stands_still_feeds_no_watchdog(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL], environment={"WATCHDOG_USEC": "2000000"})
    daemon.start()
    wait_until(lambda: beats(daemon, 1) >= 1, 20, "the watchdog is fed by a loop that turns")
    daemon.kill()
    daemon.program = os.path.join(BUILD, "tests", "tool_faulty_daemon")
    daemon.environment["FAULT"] = "spin:2"
    daemon.start(wait_connected=False)
    made = send(broker, 300)
    wait_until(lambda: beats(daemon, 3) == 0, 20, "no beat of a loop that stands still")
    daemon.kill()  # as the service manager does
    del daemon.environment["FAULT"]
    daemon.start()
    wait_until(lambda: daemon.readings("mill", "suction") == made, 10, "the reading")


def processor_share(daemon, seconds):
    """Of one core, over so many seconds."""
    def used_s():
        with open(f"/proc/{daemon.process.pid}/stat", encoding="ascii") as file:
            fields = file.read().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    before, began = used_s(), time.monotonic()
    time.sleep(seconds)
    return (used_s() - before) / (time.monotonic() - began)


def waits_quietly_and_comes_back(place, fault):
    """A disk that fails from one moment on: the loop rests meanwhile, and goes on afterwards."""
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.program = os.path.join(BUILD, "tests", "tool_faulty_daemon")
    switch = os.path.join(daemon.folder, "disk-fails")
    daemon.environment.update({fault: switch, "WATCHDOG_USEC": "2000000"})
    daemon.start()
    made = send(broker, 300, 50)
    wait_until(lambda: events(hook, kind="alarm.raised", condition="suction-low"), 20, "the raise")
    write_file(switch, "")
    with contextlib.closing(sqlite3.connect(daemon.store, isolation_level=None)) as shell:
        shell.execute("REPLACE INTO notes VALUES ('a change', 'of another')")  # what is cached is old
    made += send(broker, 301, 302)
    wait_until(lambda: daemon.health()[0] == 503, 20, "/health 503")
    wait_until(lambda: events(hook, condition="store-failing"), 20, "told from memory")
    beats_before = daemon.notifications().count("WATCHDOG=1")
    share = processor_share(daemon, 6)
    print(f"        {100 * share:.1f} % of a core", flush=True)
    check(share < 0.05, f"{100 * share:.1f} % of a core while the disk fails")
    check(daemon.notifications().count("WATCHDOG=1") > beats_before, "the watchdog is fed")
    equal(len(events(hook, condition="store-failing")), 1, "told once")
    os.remove(switch)
    wait_until(lambda: daemon.health()[0] == 200, 40, "works again by itself")
    wait_until(lambda: daemon.readings("mill", "suction") == made, 20, "nothing lost")
    wait_until(lambda: events(hook, kind="alarm.returned", condition="store-failing"), 20, "the end")


@suite.test
def a_full_disk_is_waited_for_quietly(place):
    waits_quietly_and_comes_back(place, "FULL")


@suite.test
def a_read_only_disk_is_waited_for_quietly(place):
    waits_quietly_and_comes_back(place, "READ_ONLY")


@suite.test
def a_disk_that_cannot_be_read_is_waited_for_quietly(place):
    waits_quietly_and_comes_back(place, "UNREADABLE")


@suite.test
def a_slow_disk_makes_no_turns_pile_up(place):
    """While one commit waits for the disk, what comes gathers, and the next one takes all of it."""
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.program = os.path.join(BUILD, "tests", "tool_faulty_daemon")
    daemon.environment["SYNC_MS"] = "200"
    daemon.start()
    made, before = [], daemon.metric("subslab_turns_total")
    for _ in range(40):  # several of these parts come during one sync
        made += send(broker, *range(300, 310))
        time.sleep(0.05)
    made += send(broker, 50)
    wait_until(lambda: len(daemon.readings("mill", "suction")) == len(made), 20, "every reading")
    turns = daemon.metric("subslab_turns_total") - before
    print(f"        {len(made)} readings in {turns:.0f} turns", flush=True)
    check(turns < 40, f"{turns} turns: each must take what has come meanwhile")
    equal(daemon.readings("mill", "suction"), made, "each reading once")
    wait_until(lambda: events(hook, kind="alarm.raised", condition="suction-low"), 20, "the raise")
    turns = daemon.metric("subslab_turns_total")
    share = processor_share(daemon, 4)
    idle_turns = daemon.metric("subslab_turns_total") - turns
    check(share < 0.05, f"{100 * share:.1f} % of a core with nothing to do")
    check(idle_turns < 20, f"{idle_turns} turns with nothing to do")


@suite.test
def start_after_start_repeats_no_message(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    send(broker, 50)
    wait_until(lambda: [d["state"] for d in daemon.deliveries()] == ["sent"], 20, "sent")
    for _ in range(8):
        daemon.kill()
        daemon.start()
    stays(lambda: len(hook.requests) == 1, 1, "one message")
    equal([d["state"] for d in daemon.deliveries()], ["sent"], "deliveries")


if __name__ == "__main__":
    suite.run()
