"""harness: the real daemon, a real broker and real HTTP on free loopback ports, for Python tests.

    suite = Suite()

    @suite.test
    def what_must_be_true(place):
        broker = place.broker()
        hook = place.endpoint({"*": {"status": 204}})
        daemon = place.daemon(broker, systems=[system("mill", [point("suction")])],
                              contacts=[contact("office", hook)])
        daemon.start()
        broker.publish([("subslab/mill/suction", "150")])
        wait_until(lambda: daemon.readings("mill"), 5, "the reading in the store")

    suite.run()

Whatever a place started is ended with the test, also when it fails. Each daemon's longest turn of
the loop is read before it ends, or from its log; a turn over its turn_limit_s fails the test, and
so does a report of a sanitizer or an exit status that was not asked for, and a secret (MARKERS) in
an answer, in the log or in the store.

Environment: SUBSLAB_BUILD (folder of subslabd; default build-check, else build), TEST_SEED,
TEST_ONLY (part of a test's name).
"""
import base64
import csv
import hashlib
import hmac
import io
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from basics import (BUILD, Failure, LOW_AT_ONCE, PATIENCE, SANITIZED, SOURCE, SUPPORT,  # noqa: E402
                    Skipped, TURN_LIMIT_S, check, contact, dies_with_us, equal, free_port,
                    local_day, now_ms, plain_point, point, rfc3339, stays, system,
                    time_ms_of, timed, wait_until, write_file)
from broker_process import BROKER_SAVES_AT_END, BROKER_SAVES_EACH_CHANGE, Broker  # noqa: E402
from daemon_process import Daemon, MARKERS  # noqa: E402
from mqtt_publisher import Publisher  # noqa: E402
from scripted_endpoint import ScriptedEndpoint  # noqa: E402

# What tests import from here, wherever it stands.
__all__ = [
    "BROKER_SAVES_EACH_CHANGE", "BUILD", "check", "contact", "Daemon", "dies_with_us", "equal",
    "events", "export_csv", "Failure", "free_port", "local_day", "LOW_AT_ONCE", "MARKERS",
    "notices", "now_ms", "PATIENCE", "Place", "plain_point", "point", "Publisher", "rfc3339",
    "SANITIZED", "signature_is_good", "Skipped", "SOURCE", "stays", "Suite", "SUPPORT", "system",
    "time_ms_of", "timed", "TURN_LIMIT_S", "wait_until", "write_file"]


# ---- readings ----

def export_csv(readings):
    """The readings of a system as text, for comparison."""
    out = io.StringIO()
    writer = csv.writer(out)
    for name in sorted(readings):
        for moment, value in readings[name]:
            writer.writerow([rfc3339(moment), name, repr(value)])
    return out.getvalue()


# ---- webhooks ----

def events(endpoint, path=None, kind=None, condition=None):
    """CloudEvents that arrived, in order, each id once."""
    found, seen = [], set()
    for request in list(endpoint.requests):
        if path and request["path"] != path:
            continue
        if "cloudevents" not in request["headers"].get("content-type", ""):
            continue
        event = json.loads(request["body"])
        if event["id"] in seen:
            continue
        if kind and event["type"] != f"subslab.{kind}":
            continue
        if condition and event.get("data", {}).get("condition") != condition:
            continue
        seen.add(event["id"])
        found.append(event)
    return found


def notices(endpoint, path=None):
    """(system, "raised" or "returned" and so on, condition), also those that one message told
    together."""
    found = []
    for event in events(endpoint, path):
        if "alarms" not in event["data"]:
            if "condition" in event["data"]:
                found.append((event["data"]["system"], event["type"].split(".")[-1],
                              event["data"]["condition"]))
            continue
        found += [(a["system"], "returned" if a["returned"] else "raised", a["condition"])
                  for a in event["data"]["alarms"]]
    return found


def signature_is_good(request, secret):
    """Standard Webhooks 1.0.0: v1,base64(HMAC-SHA256(key, id.timestamp.body))."""
    key = base64.b64decode(secret.removeprefix("whsec_"))
    headers = request["headers"]
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.{request['body']}"
    digest = hmac.new(key, signed.encode(), hashlib.sha256).digest()
    expected = "v1," + base64.b64encode(digest).decode()
    fresh = abs(time.time() - int(headers["webhook-timestamp"])) < 300
    return fresh and hmac.compare_digest(expected, headers.get("webhook-signature", ""))


# ---- tests ----

class Place:
    """What one test started; all of it ends with the test."""

    def __init__(self):
        # Short, because a Unix socket's name is limited.
        self.folder = tempfile.mkdtemp(prefix="svc-")
        self.brokers, self.daemons, self.endpoints, self.cleanups = [], [], [], []

    def new_folder(self, name):
        folder = os.path.join(self.folder, f"{name}{len(os.listdir(self.folder))}")
        os.makedirs(folder)
        return folder

    def broker(self, variant=BROKER_SAVES_AT_END, more="", start=True):
        broker = Broker(self.new_folder("broker"), variant, more)
        self.brokers.append(broker)
        return broker.start() if start else broker

    def daemon(self, via, systems, contacts=(), **more):
        daemon = Daemon(self.new_folder("daemon"), via.port if via else free_port(), systems,
                        contacts, **more)
        self.daemons.append(daemon)
        return daemon

    def endpoint(self, script=None, **more):
        endpoint = ScriptedEndpoint(script, **more)
        self.endpoints.append(endpoint)
        return endpoint

    def at_end(self, step):
        self.cleanups.append(step)

    def end(self, failed):
        problems = []
        for daemon in self.daemons:
            try:
                problems += daemon.end()
            except Exception as error:  # pylint: disable=broad-except
                problems.append(f"at the end: {error!r}")
            daemon.kill()
            if failed or problems:
                print(f"--- end of {daemon.log_file}:\n{daemon.log()[-3500:]}", flush=True)
        for broker in self.brokers:
            broker.kill()
        for endpoint in self.endpoints:
            endpoint.close()
        for step in reversed(self.cleanups):
            try:
                step()
            except Exception as error:  # pylint: disable=broad-except
                problems.append(f"cleaning up: {error!r}")
        shutil.rmtree(self.folder, ignore_errors=True)
        return problems

    def longest_turn_s(self):
        return max((d.longest_turn_s for d in self.daemons), default=0.0)


class Suite:
    def __init__(self):
        self.tests = []
        self.seed = int(os.environ.get("TEST_SEED", random.SystemRandom().getrandbits(31)))

    def test(self, function):
        self.tests.append(function)
        return function

    def run(self):
        print(f"build {BUILD}{', sanitized' if SANITIZED else ''}; seed {self.seed} "
              f"(TEST_SEED={self.seed} repeats it)", flush=True)
        signal.signal(signal.SIGTERM, lambda *_: sys.exit("ended by SIGTERM"))
        only, passed, failed, longest_s = os.environ.get("TEST_ONLY", ""), 0, 0, 0.0
        for function in self.tests:
            if only not in function.__name__:
                continue
            began, place, error, skipped = time.monotonic(), Place(), None, None
            random.seed(self.seed)
            try:
                function(place)
            except Skipped as reason:
                skipped = str(reason)
            except (Exception, KeyboardInterrupt, SystemExit) as problem:  # pylint: disable=broad-except
                error = problem
                if not isinstance(problem, Failure):
                    traceback.print_exc(file=sys.stdout)
            problems = place.end(error is not None)
            took_s, turn_s = time.monotonic() - began, place.longest_turn_s()
            longest_s = max(longest_s, turn_s)
            name = function.__name__.replace("_", " ")
            if skipped is not None:
                print(f"skipped {name}: {skipped}", flush=True)
            elif error or problems:
                failed += 1
                print(f"FAILED  {name}: {'; '.join([str(error)] * bool(error) + problems)}",
                      flush=True)
            else:
                passed += 1
                print(f"ok      {name} ({took_s:.1f} s, longest turn {turn_s:.3f} s)", flush=True)
            if isinstance(error, (KeyboardInterrupt, SystemExit)):
                break
        print(f"longest turn of the loop {longest_s:.3f} s")
        print(f"{passed} passed, {failed} failed", flush=True)
        sys.exit(1 if failed or not passed else 0)
