"""daemon_process: the real daemon in a folder of its own, and what can be asked of it."""
import glob
import http.client
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
from urllib.parse import quote, urlencode

from basics import (BUILD, TURN_LIMIT_S, PATIENCE, dies_with_us, Failure, check, wait_until, free_port,
                    time_ms_of, write_file)


# Secrets that every daemon is given; whatever it says, answers or stores, none of them is in it.
MARKERS = {"password": "marker-password-1d7c", "token": "marker-token-90ab",
           "query": "marker-query-4e2f"}


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
        environment = {**os.environ}
        environment.pop("JOURNAL_STREAM", None)
        environment |= self.environment
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
