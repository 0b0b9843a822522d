#!/usr/bin/env python3
"""Faults of broker, disk, webhooks, clock and name service, made with the real things.

Rows that need root (mounts, network namespaces) are skipped with a message without it.
"""
import os
import signal
import socket
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, PATIENCE, TURN_LIMIT_S, Skipped, Suite, check,  # noqa: E402
                     contact, equal, events, free_port, now_ms, point, stays, system,
                     timed, wait_until, write_file)
from faked_time import faked_time  # noqa: E402

suite = Suite()
MILL = system("mill", [point("suction")])
AT_ONCE = {**LOW_AT_ONCE, "broker-lost": {"on_delay": "1 s"},
           "delivery-failing": {"on_delay": "1 s"}}
DAY = 86_400_000


def need_root():
    if os.geteuid() != 0:
        raise Skipped("needs root")


def tmpfs(place, size, *options):
    need_root()
    folder = place.new_folder("disk")
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", ",".join([f"size={size}", *options]),
                           "tmpfs", folder], capture_output=True, check=False)
    if done.returncode:
        raise Skipped(f"cannot mount: {done.stderr.decode().strip()}")
    place.at_end(lambda: subprocess.run(["umount", "-l", folder], check=True))
    return folder


def low_and_good(broker, ident, value):
    broker.publish([(f"subslab/{ident}/suction", timed(value, now_ms()))])


# ---- broker ----

@suite.test
def broker_not_there_at_start(place):
    broker, hook = place.broker(start=False), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE)
    daemon.start(wait_connected=False)
    status, health = daemon.health()
    check(status == 503 and health["broker"] in ("lost", "connecting"), f"/health {health}")
    wait_until(lambda: events(hook, condition="broker-lost"), 15, "broker-lost told")
    equal(daemon.get("/api/systems")[0]["status"], "silent", "unknown is not healthy")
    broker.start()
    daemon.wait_connected(40)
    wait_until(lambda: events(hook, "/office", "alarm.returned", "broker-lost"), 10, "the return")
    low_and_good(broker, "mill", 300)
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")
    equal(daemon.health()[0], 200, "/health")


@suite.test
def broker_ends_and_comes_back_with_its_queue(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE)
    daemon.start()
    at = now_ms() - 400_000
    for round_number in range(2):
        base = at + round_number * 100_000
        broker.publish([("subslab/mill/suction", timed(300 + i, base + i * 1000))
                        for i in range(50)])
        if round_number:
            daemon.kill()
            broker.publish([("subslab/mill/suction", timed(300 + i, base + 50_000 + i * 1000))
                            for i in range(50)])
        broker.stop()
        if not round_number:
            wait_until(lambda: events(hook, condition="broker-lost"), 10, "broker-lost told")
        broker.start()
        if round_number:
            daemon.start()
        else:
            daemon.wait_connected(40)
    wait_until(lambda: len(daemon.readings("mill", "suction")) >= 150, 10, "150 readings")
    equal(len(daemon.readings("mill", "suction")), 150, "readings")
    equal(events(hook, condition="readings-gap"), [], "no gap: the session was kept")


@suite.test
def broker_forgets_the_session(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE)
    daemon.start()
    low_and_good(broker, "mill", 300)
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")
    broker.forget()
    broker.start()
    daemon.wait_connected(40)
    event = wait_until(lambda: events(hook, condition="readings-gap"), 20, "readings-gap told")[0]
    equal((event["data"]["priority"], event["data"]["system"]), ("medium", ""), "about the daemon")
    low_and_good(broker, "mill", 301)
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 2, 10, "subscribed again")


@suite.test
def a_filter_taken_out_is_left(place):
    """The broker keeps the session and what it was subscribed with: at a start and at a reload."""
    broker = place.broker()
    daemon = place.daemon(broker, [MILL], broker={"subscribe": ["subslab/#", "one/#", "two/#"]})
    daemon.start()

    def heard(*filters):
        before = {one["topic"] for one in daemon.get("/api/unclaimed")}
        broker.publish([(f"{name}/{len(before)}", "1") for name in ("one", "two")])
        wait_until(lambda: len({one["topic"] for one in daemon.get("/api/unclaimed")}) ==
                   len(before) + len(filters), 10, f"{filters} and no more")
        stays(lambda: len(daemon.get("/api/unclaimed")) == len(before) + len(filters), 0.5, "no more")

    heard("one", "two")
    equal(daemon.stop(), 0, "exit status")
    daemon.settings["broker"]["subscribe"] = ["subslab/#", "two/#"]
    daemon.write_settings()
    daemon.start()
    heard("two")
    daemon.settings["broker"]["subscribe"] = ["subslab/#"]
    daemon.write_settings()
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: daemon.log().count("connected to") == 3, 20, "connected anew")
    heard()
    daemon.settings["broker"]["subscribe"] = ["subslab/#", "one/#"]
    daemon.write_settings()
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: daemon.log().count("connected to") == 4, 20, "connected anew")
    heard("one")


@suite.test
def broker_stands_still(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE)
    daemon.start()
    broker.send_signal(signal.SIGSTOP)
    # 1.5 keepalives of 5 s, plus a PINGREQ's wait (MQTT 5, section 3.1.2.10).
    wait_until(lambda: daemon.metric("subslab_broker_connected") == 0, 14, "found half-open")
    wait_until(lambda: events(hook, condition="broker-lost"), 10, "told")
    equal(daemon.health()[0], 503, "/health meanwhile")
    broker.send_signal(signal.SIGCONT)
    daemon.wait_connected(60)
    low_and_good(broker, "mill", 300)
    wait_until(lambda: daemon.readings("mill"), 10, "a reading afterwards")


# ---- disk ----

@suite.test
def disk_full_loses_nothing_and_tells_from_memory(place):
    disk = tmpfs(place, "12m")
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL, system("creek", [point("suction")])],
                          [contact("office", hook)], store=os.path.join(disk, "store.db"),
                          conditions=AT_ONCE)
    daemon.start()
    at = now_ms() - 10_000_000
    broker.publish([("subslab/mill/suction", timed(300 + i % 50, at + i * 1000))
                    for i in range(500)])
    wait_until(lambda: daemon.metric("subslab_readings_total") == 500, 10, "500 readings")
    ballast = os.path.join(disk, "ballast")
    with open(ballast, "wb", buffering=0) as file:
        try:
            while True:
                file.write(b"x" * 4096)
        except OSError:
            pass
    for i in range(500, 9500, 1000):
        broker.publish([("subslab/mill/suction", timed(300 + k % 50, at + k * 1000))
                        for k in range(i, i + 1000)])
    wait_until(lambda: daemon.health()[0] == 503, 15, "/health 503")
    equal(daemon.health()[1]["store"], "failing", "/health names the store")
    event = wait_until(lambda: events(hook, condition="store-failing"), 10, "told from memory")[0]
    equal(event["data"]["priority"], "high", "priority")
    check(daemon.request("GET", "/metrics").status == 200, "the page answers")
    answer = daemon.request("POST", "/api/systems/creek/out-of-service",
                            {"until": "1 d", "by": "x", "why": "y"})
    equal(answer.status, 503, "a change that cannot be kept is refused")
    equal(len(events(hook, condition="store-failing")), 1, "told once")
    os.remove(ballast)
    subprocess.run(["mount", "-o", "remount,size=64m", disk], check=True)
    wait_until(lambda: daemon.health()[0] == 200, 60, "works again by itself")
    wait_until(lambda: len(daemon.readings("mill", "suction")) >= 9500, 30, "nothing lost")
    equal([t for t, _ in daemon.readings("mill", "suction")],
          [at + i * 1000 for i in range(9500)], "each reading once")
    wait_until(lambda: events(hook, kind="alarm.returned", condition="store-failing"), 10,
               "told that it works again")
    equal(daemon.refused(), {}, "refused")


@suite.test
def a_read_only_file_system_is_refused_at_start(place):
    disk = tmpfs(place, "8m")
    daemon = place.daemon(None, [MILL], store=os.path.join(disk, "store.db"))
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    status, said = daemon.run_to_end()
    equal(status, 1, "exit status")
    check(disk in said and "read-only" in said.lower().replace("readonly", "read-only"), said)


@suite.test
def a_file_system_that_turns_read_only_is_as_a_full_one(place):
    disk = tmpfs(place, "64m")
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE,
                          store=os.path.join(disk, "store.db"))
    daemon.start()
    low_and_good(broker, "mill", 300)
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")
    # Files open for writing forbid a remount: only the superblock can be turned by force.
    if subprocess.run(["mount", "-o", "remount,ro", disk], capture_output=True,
                      check=False).returncode:
        raise Skipped("the kernel refuses to turn a file system in use read-only")
    low_and_good(broker, "mill", 301)
    wait_until(lambda: events(hook, condition="store-failing"), 15, "store-failing told")
    subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
    wait_until(lambda: daemon.health()[0] == 200, 40, "works again")
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 2, 20, "nothing lost")


# ---- webhooks ----

@suite.test
def one_hung_contact_delays_nobody(place):
    broker = place.broker()
    hook = place.endpoint({"/hung": {"delay": 60}, "/live": {"status": 204}})
    names = [f"s{i}" for i in range(5)]
    daemon = place.daemon(broker, [system(n, [point("suction")]) for n in names],
                          [contact("hung", hook), contact("live", hook)], conditions=AT_ONCE)
    daemon.start()
    low_and_good(broker, "s0", 50)
    hook.wait_for(1, 10 * PATIENCE, "/hung")
    for n in names[1:]:
        low_and_good(broker, n, 50)
    began = time.monotonic()
    wait_until(lambda: len(events(hook, "/live")) == 5, 5, "five messages of the live contact")
    check(time.monotonic() - began < 5 * PATIENCE, "late")
    equal(len(hook.wait_for(1, path="/hung")), 1, "the hung one gets one at a time")
    # After 15 s without an answer the next of them gets its turn.
    requests = hook.wait_for(2, 30, "/hung")
    waited = requests[1]["at"] - requests[0]["at"]
    check(14.5 <= waited <= 17, f"the next try after {waited:.1f} s")
    equal(daemon.stop(), 0, "ends although a delivery hangs")


@suite.test
def answers_decide_what_happens_next(place):
    broker = place.broker()
    hook = place.endpoint({
        "/later": [{"status": 429, "headers": {"Retry-After": "4"}}, {"status": 204}],
        "/busy": [{"status": 503}, {"status": 200, "body": "ok"}],
        "/gone": {"status": 410}, "/bad": {"status": 400},
        "/moved": {"redirect": "http://127.0.0.1:1/elsewhere"},
        "/lost": [{"cut": "answer"}, {"status": 204}],
        "/reset": [{"reset": True}, {"status": 204}],
        "/huge": {"status": 200, "huge": 50_000_000}})
    names = ["later", "busy", "gone", "bad", "moved", "lost", "reset", "huge"]
    daemon = place.daemon(broker, [MILL], [contact(n, hook) for n in names], conditions=LOW_AT_ONCE)
    daemon.start()
    low_and_good(broker, "mill", 50)

    def states():
        return {d["contact"]: d["state"] for d in daemon.deliveries() if d["system"] == "mill"}

    expected = {n: "sent" for n in names} | {n: "failed" for n in ("gone", "bad", "moved")}
    wait_until(lambda: states() == expected, 20, f"the end of all deliveries: {expected}")
    for name, tries in (("later", 2), ("busy", 2), ("gone", 1), ("bad", 1), ("moved", 1),
                        ("lost", 2), ("reset", 2), ("huge", 1)):
        requests = hook.wait_for(tries, path=f"/{name}")
        equal(len(requests), tries, f"tries of {name}")
        equal(len({r["headers"]["webhook-id"] for r in requests}), 1, f"ids of {name}")
        equal(len({r["body"] for r in requests}), 1, f"bodies of {name}")
    later = hook.wait_for(2, path="/later")
    waited = later[1]["at"] - later[0]["at"]
    check(3.9 <= waited <= 10.5, f"Retry-After: 4 was followed after {waited:.1f} s")
    mill = [d for d in daemon.deliveries() if d["system"] == "mill"]
    moved = [d for d in mill if d["contact"] == "moved"][0]
    check("redirect to 127.0.0.1" in moved["last_answer"], f"{moved}")
    failed = {d["contact"] for d in daemon.get("/api/deliveries", failed=1)
              if d["system"] == "mill"}
    equal(failed, {"gone", "bad", "moved"}, "listed as failed")
    hook.set("/gone", {"status": 204})
    ident = [d["id"] for d in mill if d["contact"] == "gone"][0]
    daemon.post(f"/api/deliveries/{ident}/again")
    wait_until(lambda: states()["gone"] == "sent", 10, "sent again by hand")


@suite.test
def a_dead_webhook_keeps_its_messages_in_order(place):
    broker, live = place.broker(), place.endpoint()
    port = free_port()
    daemon = place.daemon(broker, [MILL],
                          [{"id": "dead", "role": "contractor",
                            "webhook": {"url": f"http://127.0.0.1:{port}/dead"}},
                           contact("live", live)], conditions=LOW_AT_ONCE)
    daemon.start()
    for count, value in enumerate((50, 300, 50), 1):
        low_and_good(broker, "mill", value)
        wait_until(lambda n=count: len(events(live)) >= n, 10, "the live contact is told")
    wait_until(lambda: len(events(live)) == 3, 10, "the live contact knows")
    daemon.kill()
    hook = place.endpoint({"*": {"status": 204}}, port=port)
    daemon.start()
    wait_until(lambda: len(events(hook)) == 3, 60, "everything that waited")
    equal([e["type"].split(".")[-1] for e in events(hook)], ["raised", "returned", "raised"],
          "order")
    equal(len(events(live)), 3, "the live contact hears nothing twice")


@suite.test
def killed_between_answer_and_mark_sends_the_same_id_again(place):
    broker, hook = place.broker(), place.endpoint({"/office": [{"delay": 2, "status": 204},
                                                               {"status": 204}]})
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=LOW_AT_ONCE)
    daemon.start()
    low_and_good(broker, "mill", 50)
    hook.wait_for(1, 10 * PATIENCE)
    daemon.kill()
    daemon.start()
    wait_until(lambda: daemon.deliveries()[0]["state"] == "sent", 15, "sent")
    ids = [r["headers"]["webhook-id"] for r in hook.requests]
    equal((len(ids), len(set(ids))), (2, 1), "tries and ids")


# ---- clock ----

@suite.test
def a_clock_that_jumps_raises_nothing_but_is_told(place):
    broker, hook = place.broker(), place.endpoint()
    environment, offset = faked_time(place, "+0\n")
    slow = {**LOW_AT_ONCE, "suction-low": {**LOW_AT_ONCE["suction-low"], "on_delay": "2 h"}}
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=slow,
                          environment=environment)
    daemon.start()
    low_and_good(broker, "mill", 50)  # its on-delay is running
    wait_until(lambda: daemon.readings("mill"), 10, "a reading")
    for text, label in (("+1d\n", "a day ahead"), ("+0\n", "a day back")):
        before = len(events(hook, kind="alarm.raised", condition="clock-jumped"))
        write_file(offset, text)
        wait_until(lambda b=before: len(events(hook, kind="alarm.raised",
                                               condition="clock-jumped")) > b
                   or "moved by" in daemon.log().split("start:")[-1][-400:], 10,
                   f"clock-jumped, {label}")
        stays(lambda: not [e for e in events(hook) if e["data"]["condition"] != "clock-jumped"],
              2.5, f"an alarm from the jump ({label})")
        equal([a for a in daemon.alarms() if a["system"]], [], "alarms of systems")
    check(events(hook, condition="clock-jumped"), "clock-jumped told")
    check(len(events(hook, condition="clock-jumped")) <= 4, "told again and again")
    low_and_good(broker, "mill", 300)
    wait_until(lambda: len(daemon.readings("mill", "suction")) == 2, 10, "the work goes on")


# ---- names ----

NAMESPACE = r"""
ip link set lo up && mount --bind "$1" /etc/resolv.conf || exit 97
python3 -c '
import ctypes, signal, socket, time
ctypes.CDLL(None).prctl(1, signal.SIGKILL)
silent = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
silent.bind(("127.0.0.1", 53))
time.sleep(600)' &
shift
exec "$@"
"""


@suite.test
def a_name_server_that_hangs_stops_nothing(place):
    need_root()
    resolv = write_file(os.path.join(place.folder, "resolv.conf"), "nameserver 127.0.0.1\n", 0o644)
    prefix = ["unshare", "-n", "-m", "sh", "-c", NAMESPACE, "sh", resolv]
    if subprocess.run(prefix + ["true"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                      check=False).returncode:
        raise Skipped("no network namespace")
    contacts = [{"id": n, "role": "contractor", "webhook": {"url": f"https://{n}.example/hook"}}
                for n in ("one", "two")]
    daemon = place.daemon(None, [MILL], contacts, prefix=prefix, host="broker.example")
    daemon.start(wait_connected=False)
    for n in ("one", "two"):
        daemon.post(f"/api/contacts/{n}/test-alert")
    asked, slowest = time.monotonic(), 0.0
    while time.monotonic() - asked < 22:  # longer than a look-up, a delivery's limit and a retry
        began = time.monotonic()
        status, health = daemon.health()
        slowest = max(slowest, time.monotonic() - began)
        equal(status, 503, "/health without a broker")
        time.sleep(0.1)
    check("name server" in health["broker_why"] or "resolve" in health["broker_why"], f"{health}")
    check(slowest < TURN_LIMIT_S, f"an answer took {slowest:.2f} s")
    wait_until(lambda: all(d["tries"] > 0 for d in daemon.deliveries()), 10, "tries counted")
    daemon.measure_turn()
    print(f"        slowest answer {slowest:.3f} s, longest turn {daemon.longest_turn_s:.3f} s")
    equal(daemon.stop(), 0, "exit status")


# ---- descriptors ----

@suite.test
def out_of_descriptors_the_readings_go_on(place):
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [MILL], [contact("office", hook)], conditions=AT_ONCE,
                          prefix=["prlimit", "--nofile=40:40"])
    daemon.start()
    crowd = []
    place.at_end(lambda: [c.close() for c in crowd])
    for _ in range(150):
        client = socket.socket()
        client.settimeout(0.2)
        try:
            client.connect(("127.0.0.1", daemon.page_port))
            client.sendall(b"GET /health HTTP/1.1\r\n")  # and never the rest
        except OSError:
            pass
        crowd.append(client)
    at = now_ms() - 1_000_000
    broker.publish([("subslab/mill/suction", timed(300 + i % 9, at + i * 1000))
                    for i in range(500)] + [("subslab/mill/suction", timed(50, now_ms()))])
    wait_until(lambda: hook.requests, 20, "the alarm in spite of the crowd")
    for client in crowd:
        client.close()
    wait_until(lambda: daemon.metric("subslab_readings_total") == 501, 20, "all readings")
    equal(daemon.request("GET", "/health", page=True).status, 200, "the page afterwards")


if __name__ == "__main__":
    suite.run()
