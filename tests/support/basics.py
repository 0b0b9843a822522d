"""basics: checks that fail a test, time and its texts, and the settings of points, systems and
contacts. The harness hands them on to the tests."""
import ctypes
import json
import os
import random
import signal
import socket
import time
from datetime import datetime, timezone
from zoneinfo import ZoneInfo

SUPPORT = os.path.dirname(os.path.abspath(__file__))
SOURCE = os.path.dirname(os.path.dirname(SUPPORT))


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
HOME_ZONE = "America/Denver"  # of the systems of the tests
TURN_LIMIT_S = 3.0 if SANITIZED else 1.0
# A loaded machine and a sanitized build need more patience; no figure is asserted with it.
PATIENCE = 4 if SANITIZED else 2


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


# Below the ports that kernels lend to connections (RFC 6335 6: from 49152; Linux: from 32768), so
# that no connection takes one between the probe and its use. Each is handed out once.
PORTS = random.sample(range(12000, 32000), 2000)


def free_port():
    while True:
        port = PORTS.pop()
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
                return port
            except OSError:
                pass  # somebody has it


def now_ms():
    return int(time.time() * 1000)


def rfc3339(time_ms):
    moment = datetime.fromtimestamp(time_ms // 1000, timezone.utc)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{time_ms % 1000:03d}Z"


def local_day(ms_ago=0):
    """The day that a wall calendar shows where the systems of the tests are."""
    return f"{datetime.fromtimestamp(time.time() - ms_ago / 1000, ZoneInfo(HOME_ZONE)):%Y-%m-%d}"


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
    return {"id": ident, "time_zone": HOME_ZONE, "points": points, **more}


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
