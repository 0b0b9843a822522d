#!/usr/bin/env python3
"""SIGHUP while the daemon works: what stays in memory, what ends, what is applied and what waits."""
import http.client
import os
import re
import signal
import sqlite3
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, MARKERS, Suite, check, contact, equal, events,  # noqa: E402
                     free_port, now_ms, point, stays, system, timed, wait_until)

suite = Suite()
MILL = system("mill", [point("suction")])
NO_LOW = {**LOW_AT_ONCE, "suction-low": {"enabled": "no"}}

ACCOUNT_HASH = "$y$j9T$.DBESQLS8YFDwhijMfinK0$NJ5X2sXrMd9oXnZFh2.xbh10vCvYfSKWQhvzhcX6/U7"


def reload(daemon):
    """SIGHUP, and until it is done."""
    before = daemon.notifications().count("READY=1")
    daemon.write_settings()
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: daemon.notifications().count("READY=1") > before, 20, "settings read again")


def send(broker, value, age_s=0, place="mill/suction"):
    broker.publish([(f"subslab/{place}", timed(value, now_ms() - 1000 * age_s))])


@suite.test
def memory_outlives_a_reload(place):
    """A sensor whose clock is 40 min late speaks all the same; nothing of that is forgotten."""
    broker = place.broker()
    daemon = place.daemon(broker, [MILL])
    daemon.start()
    send(broker, 300, age_s=2400)
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")
    stays(lambda: daemon.alarms() == [], 1.5, "the backlog is over, all is well")
    daemon.systems.insert(0, system("creek", [point("suction"), point("radon", "radon", "pCi/L")]))
    reload(daemon)
    stays(lambda: daemon.alarms() == [], 2.5, "no false silence")
    equal(daemon.metric("subslab_readings_total"), 1, "readings counted since the start")
    send(broker, 300, place="creek/suction")
    wait_until(lambda: daemon.readings("creek"), 10, "a reading of the new system")
    send(broker, 301, age_s=2390)
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 2, 10, "a further reading")
    daemon.systems.pop(0)
    reload(daemon)
    equal([s["id"] for s in daemon.get("/api/systems")], ["mill"], "systems")
    equal(daemon.alarms(), [], "alarms")


def low_stands(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    send(broker, 50)
    wait_until(lambda: events(hook, kind="alarm.raised"), 10, "the raise")
    return broker, hook, daemon


def ended_without_a_word_of_health(hook, daemon):
    event = wait_until(lambda: events(hook, kind="alarm.returned"), 10, "told that it ended")[0]
    text = event["data"]["text"]
    check("no longer watch" in text and "Over:" not in text, text)
    equal(daemon.alarms(), [], "open alarms")
    past = daemon.alarms(all=1)
    equal([(a["condition"], a["state"]) for a in past], [("suction-low", "normal")], "history")
    check(past[0]["returned"] and "settings no longer watch" in past[0]["note"], f"{past}")
    equal(daemon.get("/api/systems")[0]["status"], "in spec", "status")


@suite.test
def a_condition_switched_off_ends_its_alarm_at_a_reload(place):
    broker, hook, daemon = low_stands(place)
    daemon.settings["conditions"] = NO_LOW
    reload(daemon)
    ended_without_a_word_of_health(hook, daemon)
    send(broker, 49)
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 2, 10, "a further reading")
    daemon.settings["conditions"] = LOW_AT_ONCE
    reload(daemon)
    equal(daemon.alarms(), [], "it begins anew")
    send(broker, 48)
    wait_until(lambda: len(events(hook, kind="alarm.raised")) == 2, 10, "raised again")


@suite.test
def a_condition_switched_off_ends_its_alarm_at_a_start(place):
    _, hook, daemon = low_stands(place)
    wait_until(lambda: [d["state"] for d in daemon.deliveries()] == ["sent"], 10, "marked")
    equal(daemon.stop(), 0, "exit status")
    daemon.settings["conditions"] = NO_LOW
    daemon.write_settings()
    daemon.start()
    ended_without_a_word_of_health(hook, daemon)


@suite.test
def alarms_of_a_system_taken_out_end_at_a_reload(place):
    broker, hook, daemon = low_stands(place)
    daemon.systems = [system("creek", [point("suction")])]
    reload(daemon)
    event = wait_until(lambda: events(hook, kind="alarm.returned"), 10, "told that it ended")[0]
    check("no longer watch" in event["data"]["text"], event["data"]["text"])
    equal(daemon.alarms(), [], "open alarms")
    daemon.systems.append(MILL)
    reload(daemon)
    equal(daemon.alarms(), [], "it comes back without them")
    send(broker, 48)
    wait_until(lambda: len(events(hook, kind="alarm.raised")) == 2, 10, "and is judged anew")


@suite.test
def a_request_under_way_outlives_a_reload(place):
    broker, hook = place.broker(), place.endpoint({"/office": {"status": 204, "delay": 2}})
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    send(broker, 50)
    wait_until(lambda: hook.requests, 10, "the request")
    reload(daemon)
    wait_until(lambda: [d["state"] for d in daemon.deliveries()] == ["sent"], 10, "sent")
    equal(len(hook.requests), 1, "requests")


@suite.test
def what_can_be_applied_is_and_the_rest_is_named(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL], page={"access_file": "accounts"})
    daemon.secret("accounts", "installer:" + ACCOUNT_HASH)
    daemon.start()
    away = {"Host": "watch.example"}
    equal(daemon.request("GET", "/", page=True, headers=away).status, 421, "before")
    equal(daemon.get("/api/systems/mill")["points"][0]["unit"], "Pa", "unit before")
    daemon.settings["page"].update(hosts=["watch.example"])
    daemon.settings["units"] = "us"
    reload(daemon)
    check(daemon.request("GET", "/", page=True, headers=away).status != 421, "page.hosts")
    check("restart" not in daemon.log(), daemon.log())
    daemon.settings["page"].pop("hosts")
    daemon.settings["page"]["port"] = free_port()
    daemon.settings["operator_socket"] = daemon.socket + "2"
    reload(daemon)
    equal(daemon.request("GET", "/", page=True, headers=away).status, 421, "taken out again")
    warned = [line for line in daemon.log().splitlines() if "restart" in line]
    equal(len(warned), 1, f"{warned}")
    check("page.port" in warned[0] and "operator_socket" in warned[0], warned[0])
    check("store.file" not in warned[0] and "page.address" not in warned[0], warned[0])


@suite.test
def sighup_while_the_store_fails_is_done_when_it_works(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL])
    daemon.start()
    shell = sqlite3.connect(daemon.store, isolation_level=None)
    shell.execute("BEGIN EXCLUSIVE")
    send(broker, 300)
    wait_until(lambda: daemon.health()[0] == 503, 20, "the store fails")
    daemon.systems.append(system("creek", [point("suction")]))
    daemon.write_settings()
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: "when the store works" in daemon.log(), 10, "remembered in the log")
    shell.execute("ROLLBACK")
    shell.close()
    wait_until(lambda: len(daemon.get("/api/systems")) == 2, 20, "both systems")
    wait_until(lambda: daemon.readings("mill"), 20, "the reading")


@suite.test
def renewed_secrets_of_the_same_name_are_taken(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    reload(daemon)
    equal(daemon.log().count("connected to"), 1, "the same broker, not connected anew")
    password, token = MARKERS["password"], MARKERS["token"]
    try:
        MARKERS["password"], MARKERS["token"] = password + "-new", token + "-new"
        reload(daemon)
        wait_until(lambda: daemon.log().count("connected to") == 2, 20, "connected anew")
        send(broker, 50)
        wait_until(lambda: hook.requests, 10, "the raise")
        equal(hook.requests[0]["headers"]["x-token"], token + "-new", "header")
    finally:
        MARKERS["password"], MARKERS["token"] = password, token


@suite.test
def a_broken_system_file_refuses_the_whole(place):
    broker = place.broker()
    daemon = place.daemon(broker, [MILL])
    daemon.start()
    daemon.systems += [system("creek", [point("suction")]),
                       system("tower", [point("suction", unit="pCi/L")])]
    reload(daemon)
    check(re.search(r"systems/tower\.yaml:\d+: [^\n]*unit", daemon.log()), "file and line")
    check("the old ones stay in force" in daemon.log(), "said so")
    equal([s["id"] for s in daemon.get("/api/systems")], ["mill"], "systems")
    equal(daemon.health()[1]["settings_refused"], True, "/health")


def systems_listed(daemon):
    """How many; None when new settings ended the list while it was read."""
    try:
        return len(daemon.get("/api/systems"))
    except http.client.IncompleteRead:
        return None


@suite.test
def a_second_sighup_is_not_lost(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system(f"s{i}", [point("suction")]) for i in range(300)])
    daemon.start()
    for count in (301, 302, 303):
        daemon.systems = [system(f"s{i}", [point("suction")]) for i in range(count)]
        daemon.write_settings()
        daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: systems_listed(daemon) == 303, 20, "the last settings")
    send(broker, 300, place="s302/suction")
    wait_until(lambda: daemon.readings("s302"), 10, "a reading")


if __name__ == "__main__":
    suite.run()
