"""The demonstration: a private broker, the daemon, twelve invented houses with fourteen months of
history, live readings with faults, and the messages people would get. Run it by config/demo/run.sh.

Everything lives in one temporary folder and in child processes that end with this one.
"""

import argparse
import base64
import ctypes
import datetime
import os
import queue
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import traceback

import paho.mqtt.client as mqtt

import houses
from mailbox import Mailbox
from page_visitor import PageVisitor
from physics import Sensors, Weather

HERE = os.path.dirname(os.path.abspath(__file__))
CHECK_LIMIT_S = 170
STEP_S = 1800
LIVE_EVERY_S = 4  # each sensor, in the live part
# Of the page; the hash is by mkpasswd -m yescrypt.
ACCOUNT, PASSWORD = "installer", "three small pumps"
ACCOUNT_HASH = "$y$j9T$2WLguQyaLmYt1uFvni8uA0$zn3OLrcoByWX6Njqwu.k6ZrFeC/n0Rahb786lHEegI9"
TRADE, ALL = ("contractor", "technician"), ("contractor", "homeowner", "technician")

# What must have arrived: system, condition, raised or over, who is told.
EXPECTED = (
    ("mossback-row-11", "suction-low", "raised", ALL),
    ("orchard-close-21", "field-weak", "raised", TRADE),
    ("orchard-close-21", "radon-above-action", "raised", ALL),
    ("saddler-bend-9", "fan-weak", "raised", TRADE),
    ("thistle-ridge-5", "retest-due", "due", ALL),
    ("tinder-lane-4", "fan-stopped", "raised", ALL),
    ("tinder-lane-4", "fan-stopped", "over", ALL),
    ("halfpenny-court-2", "water-high", "raised", ALL),
    ("bramble-yard-15", "sensor-implausible", "raised", TRADE),
    ("wicker-hill-30", "sensor-silent", "raised", TRADE),
    ("candle-mews-6", "system-silent", "raised", ALL),
)


class Trouble(Exception):
    """Something that ends the demonstration, as a sentence."""


class Stopped(Exception):
    """A signal asked us to end."""


# ---- processes and files ------------------------------------------------------------------------

def die_with_parent():
    """In the child: no orphan even if this process is killed outright (Linux, prctl 1)."""
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(what, seconds, ready):
    end = time.monotonic() + seconds
    while not ready():
        if time.monotonic() > end:
            raise Trouble(f"{what} did not come up within {seconds} s")
        time.sleep(0.05)


def listens(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Stage:
    """The temporary folder and the processes; `close` leaves nothing behind."""

    def __init__(self, build):
        self.build = build
        self.children = []
        self.folder = tempfile.mkdtemp(prefix="subslab-demo-")
        self.settings = os.path.join(self.folder, "subslabd.yaml")
        self.broker_port, self.page_port = free_port(), free_port()
        self.secret = "whsec_" + base64.b64encode(os.urandom(32)).decode()
        self.mailbox = Mailbox({"office": self.secret})

    def path(self, *parts):
        return os.path.join(self.folder, *parts)

    def start(self, name, *command):
        log = open(self.path(name + ".log"), "wb")
        child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                                 start_new_session=True, preexec_fn=die_with_parent)
        log.close()
        self.children.append((name, child))
        return child

    def check_children(self):
        for name, child in self.children:
            if child.poll() is not None:
                with open(self.path(name + ".log"), errors="replace") as log:
                    last = log.read()[-2000:]
                raise Trouble(f"{name} has ended with status {child.returncode}:\n{last}")

    def write_settings(self, ids):
        owners = "\n".join(
            f"  - id: owner-{name}\n    role: homeowner\n"
            f'    webhook: {{url: "{self.mailbox.url}/owner-{name}"}}' for name in ids)
        with open(os.path.join(HERE, "subslabd.yaml")) as template:
            text = template.read()
        for mark, value in (("BROKER_PORT", self.broker_port), ("PAGE_PORT", self.page_port),
                            ("ENDPOINT", self.mailbox.url), ("OWNERS", owners)):
            text = text.replace(f"@{mark}@", str(value))
        with open(self.settings, "w") as file:
            file.write(text)
        with open(os.open(self.path("office-secret"), os.O_CREAT | os.O_WRONLY, 0o600),
                  "w") as file:
            file.write(self.secret + "\n")
        with open(os.open(self.path("accounts"), os.O_CREAT | os.O_WRONLY, 0o600), "w") as file:
            file.write(f"{ACCOUNT}:{ACCOUNT_HASH}\n")
        for folder in ("systems", "fans"):
            shutil.copytree(os.path.join(HERE, folder), self.path(folder))

    def start_broker(self):
        with open(self.path("mosquitto.conf"), "w") as file:
            file.write(f"listener {self.broker_port} 127.0.0.1\nallow_anonymous true\n"
                       "persistence false\nmax_queued_messages 100000\n")
        mosquitto = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
        if not mosquitto:
            raise Trouble("mosquitto is not installed")
        self.start("mosquitto", mosquitto, "-c", self.path("mosquitto.conf"))
        wait_for("the broker", 10, lambda: self.check_children() or listens(self.broker_port))

    def start_daemon(self):
        self.start("subslabd", os.path.join(self.build, "subslabd"), "--settings", self.settings)
        wait_for("subslabd", 10, lambda: self.check_children() or listens(self.page_port))

    def operator(self, *arguments):
        """One call of the operator tool; its output, or Trouble with what it said."""
        done = subprocess.run(
            [os.path.join(self.build, "subslabctl"), "--settings", self.settings, *arguments],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            preexec_fn=die_with_parent, check=False)
        if done.returncode != 0:
            raise Trouble(f"subslabctl {' '.join(arguments)}: {done.stderr.strip()[-600:]}")
        return done.stdout

    def close(self):
        for _name, child in reversed(self.children):
            if child.poll() is None:
                child.terminate()
        for _name, child in reversed(self.children):
            try:
                child.wait(10)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
        self.mailbox.close()
        shutil.rmtree(self.folder, ignore_errors=True)


# ---- history ------------------------------------------------------------------------------------

def read_points(path):
    """Id, quantity, unit and interval of the points in one of our own system files, which are plain
    enough to be read line by line."""
    points, seconds = [], {"s": 1, "min": 60, "h": 3600}
    with open(path) as file:
        for line in file:
            key, _, value = line.strip().partition(": ")
            if key == "- id":
                points.append({"id": value})
            elif points and key in ("quantity", "unit"):
                points[-1][key] = value.strip('"')
            elif points and key == "every":
                number, unit = value.split()
                points[-1]["every_s"] = int(number) * seconds[unit]
    return points


def stamp_of(seconds):
    return datetime.datetime.fromtimestamp(seconds, datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def is_quick(point):
    return point["every_s"] < 60


def write_history(sensors, points, path, begin_s, until_s):
    """The CSV of one system, in order of time."""
    house, dice = sensors.house, random.Random(sensors.house.seed + 1000)
    slow = [p for p in points if not is_quick(p)]
    quick = [p for p in points if is_quick(p)]
    with open(path, "w") as file:
        file.write("time,system,point,value,unit\n")

        def write(seconds, due, sure):
            sensors.set_time(seconds)
            stamp = stamp_of(seconds)
            for point in due:
                if sure or not houses.lost(dice.random(), until_s - seconds, house.seed):
                    file.write(f"{stamp},{house.name},{point['id']},{sensors.read(point)},\n")

        if slow:
            for seconds in range(int(begin_s), int(until_s) - 60, STEP_S):
                write(seconds, [p for p in slow if (seconds - int(begin_s)) % p["every_s"] == 0],
                      False)
        if quick:
            for seconds in range(int(until_s - houses.SHORT_HISTORY_S), int(until_s), 20):
                write(seconds, quick, True)


class History:
    """Makes the fourteen months on one processor while the other takes them in."""

    def __init__(self, stage, systems, points, now_s):
        self.stage, self.systems, self.points = stage, systems, points
        self.begin_s = (int(now_s - houses.HISTORY_S) // STEP_S) * STEP_S
        self.weather = Weather(2026, self.begin_s, STEP_S, int(houses.HISTORY_S // STEP_S) + 200)
        # What reports every few seconds comes last, so that its history ends just now.
        self.order = sorted(systems, key=lambda name: any(map(is_quick, points[name])))
        self.ready = queue.Queue(maxsize=3)
        self.rows = 0

    def _make(self, name):
        """In a process of its own: one processor for the making, one for the taking in."""
        path = self.stage.path(name + ".csv")
        child = os.fork()
        if child == 0:
            status = 1
            try:
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                signal.signal(signal.SIGINT, signal.SIG_IGN)
                die_with_parent()
                write_history(Sensors(self.systems[name], self.weather), self.points[name], path,
                              self.begin_s, time.time())
                status = 0
            except BaseException:
                traceback.print_exc()
            finally:
                os._exit(status)
        return child, path

    def commission(self, name, date):
        with open(os.path.join(HERE, "commissioning", name + ".yaml")) as template:
            text = template.read()
        path = self.stage.path(name + "-commissioning.yaml")
        with open(path, "w") as file:
            file.write(text.replace("@DATE@", date))
        self.stage.operator("commission", name, path)

    def put_in_fans(self):
        """What was replaced since: the visits that did it."""
        for name, days_ago, found, fan in houses.FANS_PUT_IN:
            day = datetime.date.today() - datetime.timedelta(days=days_ago)
            self.stage.operator("visit-done", name, "--on", day.isoformat(), "--by", "the technician", "--found", found,
                                "--did", "a new fan, back-draft test passed", "--equipment", fan)

    def take_in(self, progress):
        """Makes each system's history while the one before is imported."""
        making = self._make(self.order[0])
        for i, name in enumerate(self.order):
            child, path = making
            progress(i, len(self.order))
            if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) != 0:
                raise Trouble(f"the history of {name} could not be made")
            if i + 1 < len(self.order):
                making = self._make(self.order[i + 1])
            quick_only = all(map(is_quick, self.points[name]))
            self.commission(name, stamp_of(time.time() - houses.SHORT_HISTORY_S if quick_only
                                           else self.begin_s))
            # After it, or its radon test would be overdue for a moment.
            self.commission(name, houses.first_day(self.stage.path("systems", name + ".yaml")))
            with open(path, "rb") as file:
                self.rows += sum(1 for _ in file) - 1
            self.stage.operator("import", path)
            os.unlink(path)
        progress(len(self.order), len(self.order))


# ---- live readings ------------------------------------------------------------------------------

class Live(threading.Thread):
    """Publishes what the sensors of all houses read now, a quarter of them each second."""

    def __init__(self, stage, history):
        super().__init__(daemon=True)
        self.history = history
        self.ended = threading.Event()
        self.failed = None
        self.client = mqtt.Client("subslab-demo-sensors")
        self.client.max_inflight_messages_set(200)
        self.client.connect("127.0.0.1", stage.broker_port, 60)
        self.client.loop_start()
        self.sensors = {name: Sensors(house, history.weather)
                        for name, house in history.systems.items()}
        self.places = [(name, point) for name in history.systems for point in history.points[name]]
        self.dice = random.Random(13)

    def publish(self, place, live_s):
        name, point = place
        if houses.is_quiet(name, point["id"], live_s):
            return
        sensors = self.sensors[name]
        sensors.set_time(time.time(), live_s)
        self.client.publish(f"subslab/{name}/{point['id']}", sensors.read(point), qos=1)

    def publish_newcomer(self):
        for point, text in houses.newcomer_readings(self.dice).items():
            self.client.publish(f"subslab/{houses.NEWCOMER}/{point}", text, qos=1)

    def run(self):
        begin, turn = time.monotonic(), 0
        try:
            while not self.ended.is_set():
                for i in range(turn % LIVE_EVERY_S, len(self.places), LIVE_EVERY_S):
                    self.publish(self.places[i], time.monotonic() - begin)
                if turn % LIVE_EVERY_S == 0:
                    self.publish_newcomer()
                turn += 1
                self.ended.wait(max(begin + turn - time.monotonic(), 0.0))
        except Exception as trouble:
            self.failed = trouble

    def stop(self):
        self.ended.set()
        self.join(5)
        self.client.disconnect()
        self.client.loop_stop()


# ---- the play -----------------------------------------------------------------------------------

def say(text=""):
    print(text, flush=True)


def show_progress(done, of):
    text = f"Making and importing 14 months of history: {done} of {of} systems"
    if sys.stdout.isatty():
        print("\r" + text, end="\n" if done == of else "", flush=True)
    elif done in (0, of):
        say(text)


def tool_of(stage):
    return f"{os.path.relpath(stage.build)}/subslabctl --settings {stage.settings}"


def introduce(stage):
    say("One house is not enrolled yet. To do it, in another terminal, when the history is in:\n"
        f"  {tool_of(stage)} enrol --topic 'subslab/{houses.NEWCOMER}/#'\n"
        f"or under New house on the page, signed in as {ACCOUNT}, password \"{PASSWORD}\":\n"
        f"  http://127.0.0.1:{stage.page_port}/\n\n"
        "Twelve others are, in Quillmere. The place, its streets, the households, their fans and every\n"
        "number are invented. Faults that take hours to be told in real life are told here after\n"
        "seconds: the demonstration's own settings shorten the delays (config/demo/subslabd.yaml).\n")


def tell_what_to_try(stage):
    tool = tool_of(stage)
    link = PageVisitor(stage.page_port, ACCOUNT, PASSWORD).link_of(houses.LINKED)
    say(f"Page: http://127.0.0.1:{stage.page_port}/\n"
        f"What the household of {houses.LINKED} sees, by its link:\n  {link}\n"
        "To try in another terminal while this runs:\n"
        f"  {tool} enrol --topic 'subslab/{houses.NEWCOMER}/#'\n"
        + "".join(f"  {tool} {words}\n" for words in ("systems", "show mossback-row-11", "alarms", "visits", "fans")) +
        f"  {tool} acknowledge 1 --by me --note 'on my way'\n")


def print_letter(letter):
    for line in letter.lines():
        say(line)


def missing(arrived):
    return [(system, condition, kind, role) for system, condition, kind, roles in EXPECTED
            for role in roles if (system, condition, kind, role) not in arrived]


def unexpected(arrived):
    """Homeowners must hear of nothing that is not theirs to hear; more for the trade is welcome."""
    expected = {(s, c, k) for s, c, k, roles in EXPECTED if "homeowner" in roles}
    return sorted(key for key in arrived if key[3] == "homeowner" and key[:3] not in expected)


def print_table(arrived, lacking):
    keys = sorted({key[:3] for key in arrived} | {key[:3] for key in lacking})
    say(f"{'system':<20}{'condition':<22}{'':<8}{'contractor':<12}{'technician':<12}homeowner")
    for key in keys:
        cells = ["missing" if (*key, role) in lacking else "told" if (*key, role) in arrived else "-"
                 for role in ("contractor", "technician", "homeowner")]
        say(f"{key[0] or '(fleet)':<20}{key[1]:<22}{key[2]:<8}{cells[0]:<12}{cells[1]:<12}{cells[2]}")


def watch(stage, live, arrived, end_s):
    """Prints what comes; with an end, until all that is expected has come or time is over."""
    while True:
        stage.check_children()
        if live.failed:
            raise Trouble(f"the sensors have failed: {live.failed}")
        if end_s and (not missing(arrived) or time.monotonic() > end_s):
            return
        try:
            letter = stage.mailbox.letters.get(timeout=0.5)
        except queue.Empty:
            continue
        arrived.add(letter.key())
        print_letter(letter)


def play(stage, check):
    begin = time.monotonic()
    names = sorted(os.path.splitext(name)[0] for name in os.listdir(os.path.join(HERE, "systems")))
    points = {name: read_points(os.path.join(HERE, "systems", name + ".yaml")) for name in names}
    stage.write_settings(names)
    stage.operator("check")
    stage.start_broker()
    stage.start_daemon()
    introduce(stage)
    now_s = time.time()
    history = History(stage, houses.make_houses(now_s), points, now_s)
    history.take_in(show_progress)
    history.put_in_fans()
    say(f"{history.rows} readings in {time.monotonic() - begin:.0f} s.\n")
    live = Live(stage, history)
    live.start()
    arrived = set()
    try:
        say(stage.operator("systems"))
        tell_what_to_try(stage)
        if not check:
            say("Live readings come in now; Ctrl-C ends everything.\n")
        watch(stage, live, arrived, begin + CHECK_LIMIT_S if check else None)
        say(stage.operator("systems"))
    finally:
        live.stop()
    return conclude(stage, arrived)


def conclude(stage, arrived):
    lacking, strange = missing(arrived), unexpected(arrived)
    print_table(arrived, lacking)
    for system, condition, kind, _role in strange:
        say(f"not expected: the homeowner of {system} was told of {condition} ({kind})")
    if stage.mailbox.forged:
        say(f"{stage.mailbox.forged} messages bore a wrong signature")
    good = not lacking and not strange and not stage.mailbox.forged
    say("\nAll expected messages have arrived." if good else
        f"\n{len(lacking)} expected messages are missing.")
    return 0 if good else 1


def on_signal(_number, _frame):
    raise Stopped


def main():
    parser = argparse.ArgumentParser(description="The demonstration of subslabd.")
    parser.add_argument("--build", required=True, help="folder with subslabd and subslabctl")
    parser.add_argument("--check", action="store_true",
                        help="wait for the expected messages, then end with 0 or 1")
    arguments = parser.parse_args()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, on_signal)
    stage, status = None, 0
    try:
        stage = Stage(os.path.abspath(arguments.build))
        status = play(stage, arguments.check)
    except Stopped:
        say("\nStopping.")
        status = 1 if arguments.check else 0
    except Trouble as trouble:
        say(f"\nThe demonstration can't go on: {trouble}")
        status = 1
    finally:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        if stage:
            stage.close()
    return status


if __name__ == "__main__":
    sys.exit(main())
