#!/usr/bin/env python3
"""What we say of ourselves: at the broker (`broker.state_topic`), and to a watcher (`heartbeat`)."""
import json
import os
import re
import signal
import subprocess
import sys
import time

import paho.mqtt.client as mqtt

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, MARKERS, SOURCE, Suite, check, equal, now_ms, point, stays,  # noqa: E402
                     system, time_ms_of, timed, wait_until, write_file)

suite = Suite()
TOPIC = "subslab-state"


class Listener:
    """Somebody else at the broker: what is kept and said there, by topic."""

    def __init__(self, place, broker):
        self.said = {}
        self.client = mqtt.Client("listener")
        self.client.on_message = self.take
        self.client.connect("127.0.0.1", broker.port)
        self.client.subscribe(TOPIC + "/#", 1)
        self.client.loop_start()
        place.at_end(self.client.loop_stop)

    def take(self, _client, _data, message):
        self.said[message.topic] = json.loads(message.payload) if message.payload else None

    def at(self, below=""):
        return self.said.get(TOPIC + below)


def houses(*names):
    return [system(n, [point("suction")], name=f"House {n}", conditions=LOW_AT_ONCE) for n in names]


def send(broker, house, value, at=None):
    broker.publish([(f"subslab/{house}/suction", timed(value, at or now_ms()))])


@suite.test
def the_broker_keeps_what_stands(place):
    broker = place.broker()
    daemon = place.daemon(broker, houses("a", "b"), broker={"state_topic": TOPIC})
    began = now_ms()
    daemon.start()
    listener = Listener(place, broker)
    online = wait_until(lambda: listener.at(), 10, "the daemon's own state")
    equal(online["state"], "online", "state")
    check(began - 1000 <= time_ms_of(online["since"]) <= now_ms(), online["since"])
    quiet = wait_until(lambda: listener.at("/a"), 10, "the state of a system")
    equal(sorted(quiet), ["alarms", "id", "name", "since", "status"], "keys")
    equal((quiet["id"], quiet["name"], quiet["alarms"]), ("a", "House a", []), "a system")
    send(broker, "a", 50)
    low = wait_until(lambda: (listener.at("/a")["alarms"] or [None])[0], 10, "the alarm")
    equal(sorted(low), ["condition", "id", "priority", "since", "text"], "keys of an alarm")
    equal((low["condition"], low["priority"]), ("suction-low", "medium"), "alarm")
    check("House a" in low["text"], low["text"])
    equal(low["id"], daemon.alarm("suction-low")["id"], "id")
    equal(listener.at("/a")["status"], "out of spec", "status")
    equal(listener.at("/b")["alarms"], [], "the other system")
    send(broker, "a", 200)
    wait_until(lambda: listener.at("/a")["alarms"] == [], 10, "the return")


@suite.test
def its_end_is_known(place):
    for protocol in ("5", "3.1.1"):
        broker = place.broker()
        daemon = place.daemon(broker, houses("a"),
                              broker={"state_topic": TOPIC, "protocol": protocol})
        daemon.start()
        listener = Listener(place, broker)
        wait_until(lambda: listener.at("/a"), 10, "online")
        equal(daemon.stop(), 0, "exit status")
        wait_until(lambda: listener.at() == {"state": "offline"}, 10, "offline after a stop")
        daemon.start()
        wait_until(lambda: listener.at()["state"] == "online", 10, "online again")
        daemon.kill()
        wait_until(lambda: listener.at() == {"state": "offline"}, 10, "the will after a kill")


@suite.test
def a_system_that_leaves_is_taken_back(place):
    broker = place.broker()
    daemon = place.daemon(broker, houses("a", "b"), broker={"state_topic": TOPIC})
    daemon.start()
    listener = Listener(place, broker)
    wait_until(lambda: listener.at("/a") and listener.at("/b"), 10, "both")
    daemon.systems = houses("b", "c")
    daemon.write_settings()
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: listener.at("/c"), 10, "the new one")
    wait_until(lambda: f"{TOPIC}/a" in listener.said and listener.at("/a") is None, 10,
               "the former one is taken back")
    equal(listener.at("/b")["id"], "b", "what stays")


@suite.test
def many_systems_are_said_at_a_pace(place):
    broker = place.broker()
    names = [f"h{i}" for i in range(1000)]
    daemon = place.daemon(broker, houses(*names), broker={"state_topic": TOPIC})
    daemon.start()
    listener = Listener(place, broker)
    wait_until(lambda: len(listener.said) == len(names) + 1, 20, "all of them")
    send(broker, "h999", 50)
    wait_until(lambda: listener.at("/h999")["alarms"], 10, "a change among them")


@suite.test
def nothing_is_published_unasked(place):
    broker = place.broker()
    daemon = place.daemon(broker, houses("a"))
    daemon.start()
    listener = Listener(place, broker)
    send(broker, "a", 50)
    daemon.alarm("suction-low")
    stays(lambda: not listener.said, 2, "nothing at the broker")


def documented_access():
    """The access list of BROKER.md without and with what the state needs."""
    with open(os.path.join(SOURCE, "systemd", "BROKER.md"), encoding="utf-8") as file:
        plain, more = re.findall(r"^```\n((?:user|topic).*?)^```", file.read(), re.M | re.S)
    check(more.splitlines() == [f"topic write {TOPIC}", f"topic write {TOPIC}/#"], f"BROKER.md has {more}")
    return plain, plain.replace("user subslabd\n", f"user subslabd\n{more}")


def strict_broker(place, access):
    """Keeps to an access list; whoever does not sign in reads the state alone."""
    accounts = os.path.join(place.new_folder("accounts"), "passwords")
    subprocess.run(["mosquitto_passwd", "-b", "-c", accounts, "subslabd", MARKERS["password"]], check=True)
    listed = write_file(accounts + "-access", f"topic read {TOPIC}/#\n\n{access}")
    return place.broker(more=f"password_file {accounts}\nacl_file {listed}\n")


@suite.test
def the_documented_access_list_lets_it_write(place):
    without, with_lines = documented_access()
    broker = strict_broker(place, with_lines)
    daemon = place.daemon(broker, houses("a"), broker={"state_topic": TOPIC})
    daemon.start()
    listener = Listener(place, broker)
    wait_until(lambda: listener.at() and listener.at("/a"), 10, "the state of both")
    check("refuses" not in daemon.log(), daemon.log())
    daemon.kill()
    wait_until(lambda: listener.at() == {"state": "offline"}, 10, "the will")

    broker = strict_broker(place, without)
    daemon = place.daemon(broker, houses("a"), broker={"state_topic": TOPIC})
    daemon.start()
    wait_until(lambda: f"the broker refuses our state at {TOPIC}" in daemon.log(), 10, "what is missing is said")
    check("its access list must let us write there" in daemon.log(), daemon.log())


@suite.test
def another_node_takes_over(place):
    first, second = place.broker(), place.broker()
    dead = place.broker(start=False)
    daemon = place.daemon(dead, houses("a"),
                          broker={"host": [f"127.0.0.1:{b.port}" for b in (dead, first, second)],
                                  "state_topic": TOPIC})
    daemon.start()
    check(f"connected to 127.0.0.1:{first.port}" in daemon.log(), "the first that is there")
    first.kill()
    wait_until(lambda: f"connected to 127.0.0.1:{second.port}" in daemon.log(), 10,
               "the next after a failure")
    daemon.wait_connected()
    send(second, "a", 50)
    daemon.alarm("suction-low")
    second.kill()
    first.start()
    wait_until(lambda: daemon.log().count(f"connected to 127.0.0.1:{first.port}") == 2, 20,
               "round to the first")


@suite.test
def a_watcher_hears_while_all_works(place):
    broker, watcher = place.broker(), place.endpoint()
    daemon = place.daemon(broker, houses("a"),
                          heartbeat={"url": watcher.url("/ping/1"), "every": "10 s"})
    daemon.start()
    wait_until(lambda: watcher.requests, 10, "the first heartbeat")
    equal((watcher.requests[0]["method"], watcher.requests[0]["path"], watcher.requests[0]["body"]),
          ("GET", "/ping/1", ""), "request")
    check("content-type" not in watcher.requests[0]["headers"], "no body, no type")
    wait_until(lambda: len(watcher.requests) > 1, 15, "the next one")
    broker.stop()
    wait_until(lambda: daemon.metric("subslab_broker_connected") == 0, 15, "the broker is lost")
    heard = len(watcher.requests)
    stays(lambda: len(watcher.requests) == heard, 12, "no heartbeat without a broker")
    broker.start()
    wait_until(lambda: len(watcher.requests) > heard, 70, "a heartbeat with the broker back")


@suite.test
def a_watcher_that_refuses_is_told_once(place):
    broker, watcher = place.broker(), place.endpoint(script={"*": {"status": 500}})
    daemon = place.daemon(broker, houses("a"),
                          heartbeat={"url": watcher.url("/ping/1"), "every": "10 s"})
    daemon.start()
    wait_until(lambda: len(watcher.requests) >= 2, 20, "two heartbeats")
    time.sleep(0.5)
    equal(daemon.log().count("heartbeat: not taken: 500"), 1, "lines in the log")
    check("/ping/1" not in daemon.log(), "the address is no word for a log")


if __name__ == "__main__":
    suite.run()
