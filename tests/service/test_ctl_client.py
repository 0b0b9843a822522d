"""The operator's tool against a scripted daemon: canned answers over HTTP on a Unix socket."""
import http.server
import json
import os
import re
import socketserver
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)
from test_ctl_offline import TOOL, expect, run_tests  # noqa: E402

SYSTEMS = [
    {"id": "birch-lane-12", "name": "12 Birch Lane", "status": "out of spec",
     "since": "2026-03-12T08:15:00Z", "open_alarms": 2, "unacknowledged": 1,
     "suction": {"value": 139.49, "unit": "Pa", "time": "2026-03-12T14:15:00Z",
                 "of_baseline": 0.509},
     "radon": {"mean": 48.1, "unit": "Bq/m3", "window": "30 d", "coverage": 0.97},
     "last_reading": "2026-03-12T14:15:00Z", "next_visit": "2027-10-03T06:00:00Z"},
    {"id": "a-system-with-a-name-that-is-sixty-four-characters-long-in-all-99",
     "name": "evil \u001b[31m name", "status": "in spec", "since": None, "open_alarms": 0,
     "unacknowledged": 0, "suction": {"value": None, "unit": "Pa", "why": "no reading yet"},
     "radon": {"mean": None, "unit": "Bq/m3", "window": "30 d", "coverage": 0.0, "why": "none"},
     "last_reading": None, "next_visit": None},
]
ALARM = {
    "id": 12, "system": "birch-lane-12", "point": "suction", "condition": "suction-low",
    "priority": "medium", "state": "unacknowledged", "since": "2026-03-12T02:15:00Z",
    "raised": "2026-03-12T08:15:00Z", "returned": None, "value": 139.49, "setpoint": 191.8,
    "unit": "Pa",
    "diagnosis": {"cause": "fan worn", "confidence": 0.7,
                  "evidence": ["Suction is 51 % of its value at commissioning while the fan takes "
                               "79 % of its power."]},
    "check": ["bearing noise", "a back-draft test after any change to the fan"],
    "bring": ["a fan of the same type"], "text": "suction low\u001b]0;owned\u0007"}
VISIT = {"id": 3, "system": "birch-lane-12", "name": "12 Birch Lane", "address": "12 Birch Lane",
         "reasons": [{"condition": "suction-low", "text": "Suction at half."}],
         "due": "2026-03-20T06:00:00Z", "earliest": "2026-03-12T06:00:00Z",
         "latest": "2026-04-12T06:00:00Z", "priority": "medium", "check": ["the fan"],
         "bring": ["a micromanometer"], "baseline": {}, "last_visit": "2025-10-03T06:00:00Z"}
SHOW = {
    "id": "birch-lane-12", "name": "12 Birch Lane", "status": "out of spec",
    "time_zone": "America/Denver",
    "since": "2026-03-12T08:15:00Z", "address": "12 Birch Lane", "foundation": "drain tile",
    "out_of_service": None, "last_visit": "2025-10-03T06:00:00Z",
    "points": [
        {"id": "suction", "quantity": "suction", "unit": "Pa",
         "last": {"value": 139.49, "time": "2026-03-12T14:15:00Z"},
         "baseline": {"value": 273.998, "from": "2025-10-03T06:00:00Z", "by": "the installer"},
         "averages": [{"window": "24 h", "mean": 140.0, "coverage": 1.0,
                       "standard_uncertainty": 4.2, "probability_above_action": None},
                      {"window": "7 d", "mean": 137.0, "coverage": 1.0,
                       "standard_uncertainty": 4.2, "probability_above_action": None}],
         "trend": {"per_year": -60.0, "lower": -80.0, "upper": -40.0, "p_value": 0.0003,
                   "crosses": {"limit": 191.8, "date": "2026-08-01", "earliest": "2026-06-01",
                               "latest": None}},
         "trend_recent": {"per_year": None, "why": "fewer than 30 days"}},
        {"id": "radon", "quantity": "radon", "unit": "Bq/m3", "last": None,
         "baseline": None, "why": "no reading yet",
         "averages": [{"window": "91 d", "mean": 160.0, "coverage": 0.8,
                       "standard_uncertainty": 11.0, "probability_above_action": 0.86},
                      {"window": "365 d", "mean": None, "coverage": 0.1,
                       "why": "too few readings"}],
         "trend": None},
    ],
    "fan": {"speed_ratio": 0.83, "lower": 0.8, "upper": 0.86},
    "ground": {"resistance_ratio": None, "lower": None, "upper": None, "why": "no airflow point"},
    "alarms": [ALARM], "visits": [VISIT]}


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, *_):
        pass

    def answer(self):
        length = int(self.headers.get("Content-Length") or 0)
        body = self.rfile.read(length)
        address = urllib.parse.urlsplit(self.path)
        query = dict(urllib.parse.parse_qsl(address.query))
        self.server.seen.append((self.command, address.path, query, body,
                                 self.headers.get("Content-Type")))
        script = self.server.script.get((self.command, address.path))
        if callable(script):
            script = script(query, body)
        status, content = script if script else (404, {"error": "there is nothing like that"})
        if not isinstance(content, bytes):
            content = json.dumps(content).encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if content:  # with nothing to read the tool may be gone already
            self.wfile.write(content)

    do_GET = do_POST = answer


class Server(socketserver.ThreadingMixIn, socketserver.UnixStreamServer):
    daemon_threads = True

    def get_request(self):
        request, _ = super().get_request()
        return request, ("local", 0)


class Daemon:
    """A scripted daemon: (method, path) to (status, content) or a function of query and body."""

    def __init__(self, script, units="us"):
        self.keep = tempfile.TemporaryDirectory()
        self.path = self.keep.name
        with open(self.path + "/s.yaml", "w") as file:
            file.write(f"operator_socket: op.sock\nunits: {units}\n")
        self.server = Server(self.path + "/op.sock", Handler)
        self.server.script, self.server.seen = script, []
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def run(self, *arguments, stdin=None, program=TOOL, **environment):
        result = subprocess.run([program, "--settings", "s.yaml", *arguments], cwd=self.path,
                                env={**os.environ, **environment}, capture_output=True, input=stdin,
                                timeout=60)
        result.stdout, result.stderr = result.stdout.decode(), result.stderr.decode()
        return result

    def last(self):
        method, path, query, body, kind = self.server.seen[-1]
        return method, path, query, json.loads(body) if body else None, kind

    def close(self):
        self.server.shutdown()
        self.server.server_close()


def fits(text):
    for line in text.splitlines():
        assert len(line) <= 80, line
        assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", line), repr(line)


def test_systems():
    daemon = Daemon({("GET", "/api/systems"): (200, SYSTEMS)})
    result = daemon.run("systems")
    expect(result, 0, out=r"^birch-lane-12 .*0\.56 inH2O .*51 % .*1\.3 pCi/L .* 2 \(1\) ")
    fits(result.stdout)
    result = daemon.run("systems", "--status", "out of spec", "--json")
    expect(result, 0)
    assert json.loads(result.stdout) == SYSTEMS
    assert daemon.last()[2] == {"status": "out of spec"}
    daemon.server.script[("GET", "/api/systems")] = (200, [])
    expect(daemon.run("systems"), 0, out="no systems")
    daemon.close()


def test_units_of_the_settings():
    daemon = Daemon({("GET", "/api/systems"): (200, SYSTEMS)}, units="si")
    expect(daemon.run("systems"), 0, out=r"139 Pa .*48\.1 Bq/m3")
    daemon.close()


def test_show():
    daemon = Daemon({("GET", "/api/systems/birch-lane-12"): (200, SHOW)})
    result = daemon.run("show", "birch-lane-12", "--full")
    expect(result, 0)
    fits(result.stdout)
    for words in (r"now +0\.56 inH2O at 2026-03-12 08:15 MDT",
                  r"then +1\.1 inH2O at commissioning \(2025-10-03, the installer\); now 51 % of",
                  r"falling by 0\.241 inH2O a year .*clear",
                  r"limit 0\.77 inH2O about 2026-08-01 \(2026-06-01\s+to\s+perhaps never\)",
                  r"lately +not computed: fewer than 30 days",
                  r"91 d +mean 4\.32 pCi/L .*80 % of the time covered; likely at or",
                  r"means +none of 365 d: too few readings",
                  r"fan +speed 0\.83 times that of commissioning \(0\.80 to 0\.86\)",
                  r"ground +not computed: no airflow point",
                  r"fan worn \(confidence 70 %\)", r"because +Suction is 51 %",
                  r"check +bearing noise", r"bring +a fan of the same type",
                  r"due +2026-03-20 \(2026-03-12 to 2026-04-12\)", r"now +no reading"):
        assert re.search(words, result.stdout, re.M | re.S), f"{words}\n{result.stdout}"
    expect(daemon.run("show", "no/such one"), 1, err="there is nothing like that")
    assert daemon.server.seen[-1][1] == "/api/systems/no%2Fsuch%20one"
    daemon.close()


def test_show_says_first_what_is_wrong():
    daemon = Daemon({("GET", "/api/systems/birch-lane-12"): (200, SHOW)})
    text = daemon.run("show", "birch-lane-12").stdout
    fits(text)
    order = [text.index(words) for words in ("what is wrong", "fan worn", "check ", "bring ", "due ",
                                             "COMMISSIONING", "fan  ", "last visit")]
    assert order == sorted(order), text
    for words in (r"12 +suction-low at suction: medium priority, unacknowledged,\s+since\s+2026-03-11 20:15"
                  r" MDT,\s+raised 2026-03-12 02:15 MDT", r"0\.56 inH2O, limit 0\.77 inH2O",
                  r"suction +0\.56 inH2O +0\.55 inH2O +1\.1 inH2O +51 % +\d+ d",
                  r"radon +– +– +– +– +never"):
        assert re.search(words, text), f"{words}\n{text}"
    assert text.count("bearing noise") == 1 and text.count("a fan of the same type") == 1, text
    assert json.loads(daemon.run("show", "birch-lane-12", "--json").stdout) == SHOW
    daemon.close()


def test_show_of_a_system_with_everything_wrong_is_one_screen():
    alarms = []
    for i in range(30):
        alarms.append({**ALARM, "id": 100 + i, "condition": f"condition-{i}",
                       "diagnosis": {"cause": f"cause {i % 9}", "confidence": 0.999,
                                     "evidence": [f"evidence {i} {n} " + "of words " * 9 for n in range(9)]},
                       "check": [f"check {i} {n}" for n in range(9)],
                       "state": "suppressed by design" if i > 20 else "unacknowledged",
                       "explained_by": 100 if i > 20 else None})
    points = [{**SHOW["points"][0], "id": f"point-{i}"} for i in range(30)]
    system = {**SHOW, "alarms": alarms, "points": points}
    daemon = Daemon({("GET", "/api/systems/birch-lane-12"): (200, system)})
    text = daemon.run("show", "birch-lane-12").stdout
    fits(text)
    assert len(text.splitlines()) <= 60, text
    assert "further lines: --full" in text and "subslabctl show birch-lane-12 --full" in text, text
    assert re.search(r"explains +121 condition-21 at suction, 122", text), text
    full = daemon.run("show", "birch-lane-12", "--full").stdout
    assert all(f"condition-{i}" in full for i in range(30)) and "further lines" not in full
    assert full.count("over 99 %") == 9, full
    daemon.close()


def test_show_compares_like_with_like():
    """A field is in Pa everywhere; what a sensor read before is no limit of it."""
    hole = {**ALARM, "point": "hole", "condition": "field-weak", "value": 2.3, "setpoint": 3.7}
    cellar = {**ALARM, "id": 13, "point": "cellar", "condition": "sensor-implausible", "value": 67.3,
              "setpoint": 19.6, "unit": "degC", "diagnosis": {"cause": "unit-mix-up", "confidence": 0.9,
                                                              "evidence": []}}
    points = [{"id": "hole", "quantity": "field", "unit": "Pa", "last": None, "baseline": None},
              {"id": "cellar", "quantity": "indoor-temperature", "unit": "degC", "last": None, "baseline": None}]
    daemon = Daemon({("GET", "/api/systems/birch-lane-12"): (200, {**SHOW, "points": points, "alarms": [hole, cellar]})})
    text = daemon.run("show", "birch-lane-12").stdout
    assert re.search(r"2\.3 Pa, limit 3\.7 Pa", text), text
    assert re.search(r"153\.?\d* degF; the reading before was 67\.3 degF", text), text
    assert not re.search(r"limit 67|0\.009 inH2O", text), text
    daemon.close()


def test_alarms():
    daemon = Daemon({("GET", "/api/alarms"): (200, [ALARM] * 3)})
    result = daemon.run("alarms")
    expect(result, 0, out=r"^12 +medium +birch-lane-12 ")
    fits(result.stdout)
    assert "\x1b" not in result.stdout
    fits(daemon.run("alarms", "--all", "--system", "x", "--since", "2026-01-01").stdout)
    assert daemon.last()[2] == {"all": "1", "system": "x", "since": "2026-01-01", "limit": "200"}, daemon.last()
    assert json.loads(daemon.run("--json", "alarms").stdout) == [ALARM] * 3
    daemon.close()


def test_changes():
    script = {("POST", "/api/alarms/12/" + verb): (200, ALARM)
              for verb in ("acknowledge", "shelve", "unshelve")}
    service = {"system": "b", "until": "2026-03-13T08:00:00Z", "by": "Ann", "why": "work"}
    script[("POST", "/api/systems/b/out-of-service")] = (200, service)
    script[("POST", "/api/systems/b/return-to-service")] = (200, {"system": "b", "until": None})
    daemon = Daemon(script)
    expect(daemon.run("acknowledge", "12", "--by", "Ann", "--note", "on my way"), 0, out="^12 ")
    assert daemon.last()[3] == {"by": "Ann", "note": "on my way"}
    expect(daemon.run("shelve", "12", "--until=2 h", "--by", "Ann", "--why", "wind"), 0)
    assert daemon.last()[3] == {"until": "2 h", "by": "Ann", "why": "wind"}
    expect(daemon.run("unshelve", "12"), 0)
    expect(daemon.run("acknowledge", "99", "--by", "Ann"), 1, err="there is nothing like that")
    expect(daemon.run("out-of-service", "b", "--until", "1 d", "--by", "Ann", "--why", "work"), 0,
           out="^b is out of service until 2026-03-13 08:00 UTC$")
    expect(daemon.run("return-to-service", "b"), 0, out="^b is in service again$")
    daemon.close()


def ask_on_a_terminal(daemon):
    """visit-done at a terminal asks for each point that commissioning knows, and for the baseline."""
    import pty
    import select
    daemon.server.script[("GET", "/api/systems/b")] = (200, {"id": "b", "points": [
        {"id": "suction", "quantity": "suction", "unit": "Pa", "baseline": {"value": 273.998}},
        {"id": "radon", "quantity": "radon", "unit": "Bq/m3", "baseline": {"value": None}},
        {"id": "flow", "quantity": "airflow", "unit": "m3/s", "baseline": {"value": 0.02}}]})
    leader, follower = pty.openpty()
    tool = subprocess.Popen([TOOL, "--settings", "s.yaml", "visit-done", "b", "--on", "2026-03-12",
                             "--by", "Ann", "--found", "worn", "--did", "new fan"], cwd=daemon.path,
                            stdin=follower, stdout=follower, stderr=follower, close_fds=True)
    os.close(follower)
    seen = ""

    def wait_for(text):
        nonlocal seen
        end = time.monotonic() + 30
        while text not in seen:
            assert time.monotonic() < end, seen
            if select.select([leader], [], [], 0.1)[0]:
                seen += os.read(leader, 4096).decode()

    for question, answer in (("suction (1.1 inH2O at commissioning):", "1.05 inH2O"),
                             ("at commissioning):", ""), ("[y/N]", "y")):
        wait_for(question)
        seen = seen[seen.index(question) + len(question):]
        os.write(leader, (answer + "\n").encode())
    assert tool.wait(30) == 0
    os.close(leader)
    assert "radon" not in seen
    assert daemon.last()[3] == {"on": "2026-03-12", "by": "Ann", "found": "worn", "did": "new fan",
                                "values": {"suction": "1.05 inH2O"}, "new_baseline": True}


def test_records():
    taken = {"from": "2025-10-03T06:00:00Z", "by": "x",
             "points": {"suction": {"value": 273.998, "unit": "Pa"}}}
    daemon = Daemon({
        ("POST", "/api/systems/b/commission"): (200, taken),
        ("POST", "/api/systems/bad/commission"):
            (400, {"error": "no", "errors": ["r.yaml:3: points.suction: bad", "r.yaml:4: by"]}),
        ("POST", "/api/systems/b/learn"):
            (200, {"points": {"suction": {"value": 250.0, "unit": "Pa", "days": 30}},
                   "refused": {"radon": "too few days"}}),
        ("POST", "/api/systems/b/points/suction/record"):
            (200, {"time": "2026-03-12T08:15:00Z", "value": 154.4, "unit": "Pa"}),
        ("POST", "/api/systems/b/visit-done"): (200, {"system": "b"}),
        ("GET", "/api/visits"): (200, [VISIT, VISIT]),
        ("GET", "/visits.ics"): (200, b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")})
    with open(daemon.path + "/r.yaml", "w") as file:
        file.write("date: 2025-10-03\n")
    expect(daemon.run("commission", "b", "r.yaml"), 0, out=r"suction +1\.1 inH2O")
    assert daemon.server.seen[-1][2:4] == ({"file": "r.yaml"}, b"date: 2025-10-03\n")
    result = daemon.run("commission", "bad", "r.yaml")
    expect(result, 1, err="^r.yaml:3: points.suction: bad\nr.yaml:4: by$")
    expect(daemon.run("commission", "b", "absent.yaml"), 1, err="absent.yaml: No such file")
    result = daemon.run("commission", "b", "--learn", "2026-01-01", "2026-02-01", "--by", "Ann")
    expect(result, 1, out=r"suction +1 inH2O", err="radon: too few days")
    assert daemon.last()[3] == {"from": "2026-01-01", "to": "2026-02-01", "by": "Ann"}
    for value in (["0.62 inH2O"], ["0.62", "inH2O"]):
        expect(daemon.run("record", "b", "suction", *value, "--by", "Ann"), 0,
               out=r"^b suction: 0\.62 inH2O at 2026-03-12 08:15 UTC$")
        assert daemon.last()[3] == {"value": "0.62 inH2O", "by": "Ann"}
    expect(daemon.run("visit-done", "b", "suction=0.62 inH2O", "--on", "2026-03-12", "--by", "Ann",
                      "--found", "worn", "--did", "new fan"), 0, out="on record")
    assert daemon.last()[3] == {"on": "2026-03-12", "by": "Ann", "found": "worn", "did": "new fan",
                                "values": {"suction": "0.62 inH2O"}}
    expect(daemon.run("visit-done", "b", "suction=0.62 inH2O", "--on", "2026-03-12", "--by", "Ann",
                      "--found", "worn", "--did", "new fan", "--new-baseline"), 0, out="on record")
    assert daemon.last()[3]["new_baseline"] is True
    ask_on_a_terminal(daemon)
    result = daemon.run("visits")
    expect(result, 0, out="why +Suction at half")
    fits(result.stdout)
    expect(daemon.run("visits", "--ics", "v.ics"), 0)
    with open(daemon.path + "/v.ics", "rb") as file:
        assert file.read() == b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"
    daemon.close()


def test_import():
    rows = 50001
    lines = ["time,system,point,value,unit"]
    lines += [f"2026-01-01T00:00:{i % 60:02d}Z,house-{i % 3},suction,{i},Pa" for i in range(rows)]
    lines[10:10] = ["", '2026-01-01T00:00:00Z,b,suction,1,Pa,"a', 'note"', ""]
    seen, systems = {}, []

    def take(query, body):
        assert len(body) <= 1 << 20
        head, *rest = body.decode().split("\n")
        assert head == "line," + lines[0] and len(rest) <= 8001
        numbers = []
        for number, line in (row.split(",", 1) for row in rest if row):
            seen[int(number)] = line
            numbers.append(int(number))
            systems.append(line.split(",")[1])
        bad = [f"r.csv:{n}: no" for n in numbers if n in (5, 20)]
        return 200, {"taken": len(numbers) - len(bad), "same": 0, "bad": len(bad), "errors": bad}

    daemon = Daemon({("POST", "/api/import"): take})
    with open(daemon.path + "/r.csv", "w") as file:
        file.write("\r\n".join(lines))
    result = daemon.run("import", "r.csv")
    expect(result, 1, out=rf"^{rows - 1} readings taken, 0 already known, 2 bad lines$",
           err="^r.csv:5: no\nr.csv:20: no$")
    changes = sum(a != b for a, b in zip(systems, systems[1:]))
    assert changes <= 3, f"{changes} changes of system: rows of one stand together"
    assert len(daemon.server.seen) >= 6 and daemon.server.seen[0][2]["file"] == "r.csv"
    for number, line in enumerate(lines, 1):  # every row under the line it has in the file
        if number > 1 and line and number not in (12, 13):
            assert seen[number] == line, (number, line, seen.get(number))
    assert seen[12].startswith(lines[11]) and 13 not in seen
    daemon.server.script[("POST", "/api/import")] = (503, {"error": "disk is full"})
    expect(daemon.run("import", "-", stdin="\n".join(lines).encode()), 1, err="disk is full")
    expect(daemon.run("import", "--json", "r.csv"), 1, out='^{"taken":0,')
    daemon.close()


def test_export():
    readings = [{"time": f"2026-01-01T00:{i:02d}:00.250Z" if i % 2 else f"2026-01-01T00:{i:02d}:00Z",
                 "point": "suction" if i < 30 else "room", "value": 0.1 + i,
                 "unit": "Pa" if i < 30 else "degC"} for i in range(45)]

    def page(query, _):
        start = int(query.get("after", 0))
        end = min(start + 20, len(readings))
        return 200, {"readings": readings[start:end],
                     "next": str(end) if end < len(readings) else None}

    show = {"points": [{"id": "suction", "quantity": "suction"}]}
    daemon = Daemon({("GET", "/api/readings"): page, ("GET", "/api/systems/b"): (200, show)})
    result = daemon.run("export", "b/suction", "--from", "2026-01-01", "--to", "2026-01-02")
    expect(result, 0)
    assert daemon.server.seen[0][2] == {"system": "b", "point": "suction", "from": "2026-01-01",
                                        "to": "2026-01-02", "limit": "20000"}
    lines = result.stdout.splitlines()
    assert lines[0] == "time,system,point,value,unit" and len(lines) == 46
    for line, reading in zip(lines[1:], readings):
        time, system, point, value, unit = line.split(",")
        assert (time, system, point, unit) == (reading["time"], "b", reading["point"],
                                               reading["unit"])
        assert float(value) == reading["value"]
    text = daemon.run("export", "b", "--as", "senml").stdout
    pack = json.loads(text)
    decoder = os.path.join(os.path.dirname(TOOL), "tests", "tool_senml")
    decoded = subprocess.run([decoder], input=text, capture_output=True, text=True, check=True)
    for line, reading in zip(decoded.stdout.splitlines(), readings, strict=True):
        assert line.split() == [reading["time"], "b/" + reading["point"],
                                repr(reading["value"]), reading["unit"]], line
    base = {}
    for record, reading in zip(pack, readings):  # base fields: RFC 8428, section 4.1
        base.update({key: value for key, value in record.items() if key in ("bn", "bt", "bu")})
        assert base["bn"] == "b/" + reading["point"]
        assert base["bu"] == {"Pa": "Pa", "degC": "Cel"}[reading["unit"]]
        assert record["v"] == reading["value"]
        seconds = base["bt"] + record.get("t", 0) - 1767225600
        wanted = int(reading["time"][14:16]) * 60 + (0.25 if "250" in reading["time"] else 0)
        assert abs(seconds - wanted) < 1e-6
    assert len(pack) == 45
    expect(daemon.run("export", "absent"), 0)
    daemon.server.script[("GET", "/api/readings")] = (200, {"readings": [], "next": None})
    assert json.loads(daemon.run("export", "b", "--as", "senml").stdout) == []
    assert daemon.run("export", "b").stdout == "time,system,point,value,unit\n"
    daemon.close()


def test_messages():
    sent = {"id": "d-1", "contact": "office", "system": "b", "type": "subslab.test",
            "state": "sent", "tries": 1, "next_try": None, "last_answer": "200",
            "created": "2026-03-12T08:15:00Z", "done": "2026-03-12T08:15:01Z"}
    waiting = dict(sent, state="waiting", tries=0, last_answer=None)
    row = {"topic": "subslab/x/\u001b[2J", "count": 3, "first": "2026-03-12T08:15:00Z",
           "last": "2026-03-12T08:15:00Z", "example": "0.6 " * 60, "reason": "not-a-number"}
    asked = []

    def one(*_):
        asked.append(1)
        return 200, (waiting if len(asked) < 3 else sent)

    daemon = Daemon({("GET", "/api/deliveries"): (200, [sent, waiting]),
                     ("POST", "/api/deliveries/d-1/again"): (200, waiting),
                     ("POST", "/api/contacts/office/test-alert"): (200, {"id": "d-1"}),
                     ("GET", "/api/deliveries/d-1"): one,
                     ("GET", "/api/unclaimed"): (200, [row]), ("GET", "/api/refused"): (200, [row])})
    for command in (["deliveries"], ["deliveries", "--failed"], ["unclaimed"], ["refused"]):
        result = daemon.run(*command)
        expect(result, 0)
        fits(result.stdout)
    expect(daemon.run("refused"), 0, out="not-a-number")
    expect(daemon.run("deliveries", "--again", "d-1"), 0, out="tried again")
    expect(daemon.run("test-alert", "office"), 0, out=r"^office has taken the test message \(200\)$")
    assert len(asked) == 3
    daemon.server.script[("GET", "/api/deliveries/d-1")] = (
        200, dict(sent, state="waiting", last_answer="503 from the webhook"))
    expect(daemon.run("test-alert", "office"), 1, err="not taken .*503 from the webhook")
    daemon.close()


def test_broken_daemon():
    daemon = Daemon({("GET", "/api/systems"): (200, b"<html>"),
                     ("GET", "/api/alarms"): (500, b""),
                     ("GET", "/api/visits"): (503, {"error": "the store\u001b[31m fails"})})
    expect(daemon.run("systems"), 1, err="not JSON")
    expect(daemon.run("alarms"), 1, err="HTTP status 500")
    result = daemon.run("visits")
    expect(result, 1, err="^subslabctl: visits: the store")
    assert "\x1b" not in result.stderr
    daemon.close()


if __name__ == "__main__":
    run_tests(globals())
