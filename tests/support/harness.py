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
import ctypes
import glob
import hashlib
import hmac
import http.client
import io
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import traceback
from datetime import datetime, timezone
from urllib.parse import quote, urlencode

SUPPORT = os.path.dirname(os.path.abspath(__file__))
SOURCE = os.path.dirname(os.path.dirname(SUPPORT))
sys.path.insert(0, SUPPORT)

from mqtt_publisher import Publisher  # noqa: E402
from scripted_endpoint import ScriptedEndpoint  # noqa: E402

# Saves the queue at a clean end only: fast, and what a test needs that does not kill the broker.
BROKER_SAVES_AT_END = """\
persistence true
"""
# Saves after each change; the interval counts changes then (mosquitto.conf(5)). Slow with a queue.
BROKER_SAVES_EACH_CHANGE = """\
persistence true
autosave_on_changes true
autosave_interval 1
"""
BROKER_COMMON = """\
listener {port} 127.0.0.1
allow_anonymous true
persistence_location {folder}/
max_queued_messages 1000000
max_queued_bytes 0
max_inflight_messages 200
message_size_limit 262144
log_dest file {folder}/broker.log
log_type error
log_type warning
log_type notice
log_type information
user root
"""


def find_build():
    named = os.environ.get("SUBSLAB_BUILD")
    folders = [named] if named else [os.path.join(SOURCE, f) for f in ("build-check", "build")]
    for folder in folders:
        if os.path.exists(os.path.join(folder, "subslabd")):
            return os.path.abspath(folder)
    raise SystemExit(f"no subslabd in {' or '.join(folders)}; build it, or set SUBSLAB_BUILD")


BUILD = find_build()
with open(os.path.join(BUILD, "subslabd"), "rb") as _file:
    SANITIZED = b"__asan_init" in _file.read()
TURN_LIMIT_S = 3.0 if SANITIZED else 1.0
# A loaded machine and a sanitized build need more patience; no figure is asserted with it.
PATIENCE = 4 if SANITIZED else 2


# Secrets that every daemon is given; whatever it says, answers or stores, none of them is in it.
MARKERS = {"password": "marker-password-1d7c", "token": "marker-token-90ab",
           "query": "marker-query-4e2f"}

_LIBC = ctypes.CDLL(None)


def dies_with_us():
    """In a child: the kernel ends it when this test program is gone, however that happened."""
    _LIBC.prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG


class Failure(AssertionError):
    pass


class Skipped(Exception):
    pass


def check(condition, text):
    if not condition:
        raise Failure(text)


def equal(found, expected, what):
    if found != expected:
        raise Failure(f"{what}: {found!r}, expected {expected!r}")


def wait_until(condition, seconds, what):
    """Polls until the condition is true; its value."""
    end = time.monotonic() + seconds * PATIENCE
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() > end:
            raise Failure(f"not within {seconds * PATIENCE} s: {what}")
        time.sleep(0.02)


def stays(condition, seconds, what):
    """The condition must hold all the time."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        check(condition(), what)
        time.sleep(0.05)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def now_ms():
    return int(time.time() * 1000)


def rfc3339(time_ms):
    moment = datetime.fromtimestamp(time_ms // 1000, timezone.utc)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{time_ms % 1000:03d}Z"


def time_ms_of(text):
    """RFC 3339 UTC as the daemon writes it."""
    if "." not in text:
        text = text[:-1] + ".000Z"
    moment = datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=timezone.utc)
    return round(moment.timestamp() * 1000)


def timed(value, time_ms):
    """The JSON message of a point made by `point`."""
    return json.dumps({"v": value, "t": rfc3339(time_ms)})


# ---- settings ----

def point(ident, quantity="suction", unit="Pa", every="1 min", **more):
    return {"id": ident, "quantity": quantity, "unit": unit, "every": every, "value": "/v",
            "time": "/t", **more}


def plain_point(ident, quantity="suction", unit="Pa", every="1 min", **more):
    """The whole payload is the value; its time is that of arrival."""
    return {"id": ident, "quantity": quantity, "unit": unit, "every": every, **more}


def system(ident, points, **more):
    return {"id": ident, "time_zone": "America/Denver", "points": points, **more}


LOW_AT_ONCE = {"suction-low": {"setpoint": "100 Pa", "deadband": "10 Pa", "on_delay": "0 s",
                               "off_delay": "0 s"},
               "suction-lost": {"enabled": "no"}, "suction-high": {"enabled": "no"}}


def contact(name, endpoint, path=None, role="contractor", body="cloudevents", **more):
    webhook = {"url": endpoint.url(path or f"/{name}"), "body": body}
    for key in ("template", "signing_secret_file", "headers", "tls_ca_file"):
        if key in more:
            webhook[key] = more.pop(key)
    return {"id": name, "role": role, "webhook": webhook, **more}


def write_file(path, text, mode=0o600):
    with open(path, "w", encoding="utf-8") as file:
        file.write(text)
    os.chmod(path, mode)
    return path


# ---- the broker ----

class Broker:
    def __init__(self, folder, variant=BROKER_SAVES_AT_END, more=""):
        self.folder = folder
        self.port = free_port()
        self.process = None
        self.settings = os.path.join(folder, "mosquitto.conf")
        self.write_settings(variant, more)

    def write_settings(self, variant, more=""):
        write_file(self.settings,
                   BROKER_COMMON.format(port=self.port, folder=self.folder) + variant + more)

    def start(self):
        mosquitto = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self.process = subprocess.Popen([mosquitto, "-c", self.settings],
                                        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                        preexec_fn=dies_with_us)
        wait_until(self._listens, 10, "the broker listens")
        return self

    def _listens(self):
        check(self.process.poll() is None, "the broker ended at once")
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def send_signal(self, number):
        self.process.send_signal(number)

    def stop(self, number=signal.SIGTERM):
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(number)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def kill(self):
        self.stop(signal.SIGKILL)

    def database_age_s(self):
        """Since when nothing more was saved; 0 when nothing was."""
        database = os.path.join(self.folder, "mosquitto.db")
        return time.time() - os.path.getmtime(database) if os.path.exists(database) else 0

    def forget(self):
        """What a broker that saves nothing has after a power cut."""
        self.kill()
        database = os.path.join(self.folder, "mosquitto.db")
        if os.path.exists(database):
            os.remove(database)

    def publish(self, messages, **more):
        with Publisher(self.port, f"publisher-{random.getrandbits(40):x}") as publisher:
            return publisher.publish(messages, **more)

    def publish_odd(self, topic, payload, qos=0, retain=False):
        """One message by mosquitto_pub, for what Publisher cannot do."""
        command = ["mosquitto_pub", "-p", str(self.port), "-t", topic, "-q", str(qos), "-s"]
        data = payload.encode() if isinstance(payload, str) else payload
        if not data:
            command[-1] = "-n"
        subprocess.run(command + (["-r"] if retain else []), input=data, check=True, timeout=20)

    def log(self):
        path = os.path.join(self.folder, "broker.log")
        if not os.path.exists(path):
            return ""
        with open(path, encoding="utf-8", errors="replace") as file:
            return file.read()


# ---- the daemon ----

class UnixConnection(http.client.HTTPConnection):
    def __init__(self, path, timeout):
        super().__init__("localhost", timeout=timeout)
        self.path = path

    def connect(self):
        self.sock = socket.socket(socket.AF_UNIX)
        self.sock.settimeout(self.timeout)
        self.sock.connect(self.path)


class Answer:
    def __init__(self, status, headers, body):
        self.status, self.headers, self.body = status, headers, body

    def json(self):
        return json.loads(self.body)


class Daemon:
    def __init__(self, folder, broker_port, systems, contacts=(), store=None, prefix=(),
                 environment=None, client_id=None, host="127.0.0.1", **settings):
        self.folder = folder
        self.program = os.path.join(BUILD, "subslabd")
        self.process = self.notify = None
        self.prefix = list(prefix)
        self.environment = dict(environment or {})
        self.page_port = free_port()
        self.store = store or os.path.join(folder, "store.db")
        # A Unix socket's name has room for 107 bytes.
        self.socket = os.path.join(folder, "operator.sock")
        self.settings_file = os.path.join(folder, "subslabd.yaml")
        self.log_file = os.path.join(folder, "subslabd.log")
        self.longest_turn_s, self.turn_limit_s = 0.0, TURN_LIMIT_S
        self.expects_reports = False
        self.settings = {
            "broker": {"host": host, "port": broker_port,
                       "client_id": client_id or os.path.basename(folder),
                       "subscribe": ["subslab/#"], "keepalive": "5 s"},
            "store": {"file": self.store},
            "page": {"address": "127.0.0.1", "port": self.page_port},
            "operator_socket": self.socket,
            "systems": "systems/",
        }
        for key, value in settings.items():
            if isinstance(value, dict) and key in self.settings:
                self.settings[key].update(value)
            else:
                self.settings[key] = value
        self.contacts, self.systems = list(contacts), list(systems)
        self.write_settings()

    def write_settings(self):
        """JSON is YAML too (YAML 1.2, section 1.3)."""
        settings = dict(self.settings)
        if "username" not in settings["broker"]:
            settings["broker"] = {**settings["broker"], "username": "subslabd",
                                  "password_file": self.secret("marker-password",
                                                               MARKERS["password"])}
        if self.contacts:
            settings["contacts"] = [self.with_secrets(c) for c in self.contacts]
        write_file(self.settings_file, json.dumps(settings, indent=1), 0o640)
        systems = os.path.join(self.folder, "systems")
        shutil.rmtree(systems, ignore_errors=True)
        os.makedirs(systems)
        for one in self.systems:
            write_file(os.path.join(systems, one["id"] + ".yaml"), json.dumps(one, indent=1), 0o640)

    def with_secrets(self, one):
        webhook = dict(one["webhook"])
        if "?" not in webhook["url"]:
            webhook["url"] += f"?key={MARKERS['query']}"
        webhook.setdefault("headers", {
            "X-Token": "file:" + self.secret("marker-token", MARKERS["token"])})
        return {**one, "webhook": webhook}

    def secrets_in(self, what, data):
        """For each marker in these bytes a problem."""
        return [f"the secret {name} is in {what}" for name, marker in MARKERS.items()
                if marker.encode() in data]

    def secrets_kept(self):
        """Those in the log or in the store and its companions."""
        problems = self.secrets_in("the log", self.log().encode())
        for path in glob.glob(self.store + "*"):
            if os.path.isfile(path):
                with open(path, "rb") as file:
                    problems += self.secrets_in(os.path.basename(path), file.read())
        return problems

    def secret(self, name, text, mode=0o600):
        return write_file(os.path.join(self.folder, name), text + "\n", mode)

    # -- life --

    def spawn(self):
        environment = {**os.environ, **self.environment}
        environment.pop("JOURNAL_STREAM", None)
        self.notify = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        name = os.path.join(self.folder, f"notify-{random.getrandbits(32):x}")
        self.notify.bind(name)
        self.notify.setblocking(False)
        environment["NOTIFY_SOCKET"] = name
        self.notified = ""
        with open(self.log_file, "ab") as log:
            self.process = subprocess.Popen(
                self.prefix + [self.program, "--settings", self.settings_file],
                env=environment, stdout=log, stderr=log, cwd=self.folder,
                preexec_fn=dies_with_us)
        return self

    def start(self, wait_connected=True, seconds=20):
        self.spawn()
        wait_until(self.is_ready, seconds, "READY of the daemon")
        if wait_connected:
            self.wait_connected()
        return self

    def is_ready(self):
        check(self.process.poll() is None,
              f"the daemon ended at once, status {self.process.poll()}: {self.log()[-600:]}")
        return "READY=1" in self.notifications()

    def notifications(self):
        while self.notify:
            try:
                self.notified += self.notify.recv(4096).decode() + "\n"
            except BlockingIOError:
                break
        return self.notified

    def wait_connected(self, seconds=20):
        wait_until(lambda: self.metric("subslab_broker_connected") == 1, seconds,
                   "the daemon connected to the broker")

    def measure_turn(self):
        if self.process and self.process.poll() is None:
            try:
                self.longest_turn_s = max(self.longest_turn_s,
                                          self.metric("subslab_turn_longest_seconds"))
            except (OSError, http.client.HTTPException, Failure):
                pass

    def stop(self, seconds=10):
        """SIGTERM; the exit status."""
        self.measure_turn()
        self.process.send_signal(signal.SIGTERM)
        try:
            return self.process.wait(seconds * PATIENCE)
        except subprocess.TimeoutExpired:
            self.kill()
            raise Failure(f"still running {seconds * PATIENCE} s after SIGTERM") from None

    def kill(self):
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
            self.process.wait()

    def run_to_end(self, seconds=20):
        """For settings that must be refused: (exit status, what it said)."""
        self.spawn()
        try:
            return self.process.wait(seconds * PATIENCE), self.log()
        except subprocess.TimeoutExpired:
            self.kill()
            raise Failure("the daemon runs although it should refuse") from None

    def end(self):
        """At the end of a test: (problems)."""
        problems = []
        if self.process and self.process.poll() is None:
            try:
                status = self.stop()
                if status != 0:
                    problems.append(f"exit status {status} after SIGTERM")
            except Failure as failure:
                problems.append(str(failure))
        for mark in ("AddressSanitizer", "LeakSanitizer", "runtime error:", "Assertion"):
            if mark in self.log() and not self.expects_reports:
                problems.append(f"the log holds \"{mark}\"")
        problems += self.secrets_kept()
        # A daemon that was killed could not be asked; what it says of slow turns is in its log.
        slow_ms = re.findall(r"loop: a turn took (\d+) ms", self.log())
        self.longest_turn_s = max([self.longest_turn_s] + [int(ms) / 1000 for ms in slow_ms])
        if self.longest_turn_s > self.turn_limit_s:
            problems.append(f"a turn of the loop took {self.longest_turn_s} s")
        return problems

    def log(self):
        if not os.path.exists(self.log_file):
            return ""
        with open(self.log_file, encoding="utf-8", errors="replace") as file:
            return file.read()

    # -- asking --

    def request(self, method, path, body=None, page=False, headers=None, timeout=10):
        """An Answer. Over the operator socket unless `page`."""
        timeout *= PATIENCE
        self.notifications()  # a service manager always reads them
        connection = (http.client.HTTPConnection("127.0.0.1", self.page_port, timeout=timeout)
                      if page else UnixConnection(self.socket, timeout))
        sent = dict(headers or {})
        if isinstance(body, (dict, list)):
            body = json.dumps(body)
            sent.setdefault("Content-Type", "application/json")
        try:
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            whole = Answer(answer.status, dict(answer.getheaders()), answer.read())
            told = self.secrets_in(f"the answer to {path}", whole.body + repr(whole.headers).encode())
            check(not told, "; ".join(told))
            return whole
        finally:
            connection.close()

    def get(self, path, **query):
        answer = self.request("GET", path + ("?" + urlencode(query) if query else ""))
        check(answer.status == 200, f"GET {path}: {answer.status} {answer.body[:300]!r}")
        return answer.json()

    def post(self, path, body=None, status=200):
        answer = self.request("POST", path, body or {})
        check(answer.status == status, f"POST {path}: {answer.status} {answer.body[:300]!r}")
        return answer.json()

    def health(self):
        answer = self.request("GET", "/health")
        return answer.status, answer.json()

    def metrics(self):
        answer = self.request("GET", "/metrics")
        check(answer.status == 200, f"/metrics: {answer.status}")
        return answer.body.decode()

    def metric(self, name):
        for line in self.metrics().splitlines():
            if line.startswith(name + " "):
                return float(line.split(" ")[1])
        raise Failure(f"no metric {name}")

    def readings(self, system_id, point_id=None):
        """Everything stored: {point: [(time_ms, value)]} or the list of one point."""
        found, query = {}, {"system": system_id, "limit": "50000"}
        if point_id:
            query["point"] = point_id
        while True:
            page = self.get("/api/readings", **query)
            for one in page["readings"]:
                found.setdefault(one["point"], []).append((time_ms_of(one["time"]), one["value"]))
            if not page["next"]:
                break
            query["after"] = page["next"]
        return found.get(point_id, []) if point_id else found

    def alarms(self, **query):
        return self.get("/api/alarms", **query)

    def alarm(self, condition, seconds=10, **query):
        """Waits for the one alarm of a condition."""
        def found():
            return [a for a in self.alarms(**query) if a["condition"] == condition]
        return wait_until(found, seconds, f"an alarm {condition}")[0]

    def refused(self):
        return {(r["topic"], r["reason"]): r["count"] for r in self.get("/api/refused")}

    def deliveries(self):
        return self.get("/api/deliveries")

    def commission(self, system_id, text):
        answer = self.request("POST", f"/api/systems/{quote(system_id)}/commission?file=record.yaml",
                              text, headers={"Content-Type": "application/yaml"})
        check(answer.status == 200, f"commission: {answer.status} {answer.body[:400]!r}")
        return answer.json()


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
