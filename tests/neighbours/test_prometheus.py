#!/usr/bin/env python3
"""A real Prometheus scrapes the real daemon by systemd/prometheus/scrape.yml: every rule and every
panel of the dashboard finds what it asks for. promtool judges rules and metrics; the rules have unit
tests of their own in rules_test.yml."""
import json
import os
import shutil
import subprocess
import sys
import urllib.request
from urllib.parse import urlencode

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (LOW_AT_ONCE, SOURCE, Skipped, Suite, check, dies_with_us, equal,  # noqa: E402
                     free_port, now_ms, point, system, timed, wait_until, write_file)
from prometheus_client.openmetrics.parser import text_string_to_metric_families as open_families  # noqa: E402
from prometheus_client.parser import text_string_to_metric_families as text_families  # noqa: E402

suite = Suite()
FILES = os.path.join(SOURCE, "systemd", "prometheus")
OPEN, TEXT = "application/openmetrics-text; version=1.0.0", "text/plain; version=0.0.4"


def read(*name):
    with open(os.path.join(*name), encoding="utf-8") as file:
        return file.read()


def promtool(*words, text_in=None):
    if not shutil.which("promtool"):
        raise Skipped("promtool is not installed")
    return subprocess.run(["promtool", *words], input=text_in, capture_output=True, text=True,
                          timeout=120, check=False)


def furnished(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill", [point("suction"), point("radon", "radon", "pCi/L")]),
                                   system("creek", [point("suction")])], conditions=LOW_AT_ONCE)
    daemon.start()
    broker.publish([("subslab/mill/suction", timed(50, now_ms())),
                    ("subslab/mill/radon", timed(2.5, now_ms())),
                    ("subslab/creek/suction", timed(300, now_ms()))])
    daemon.alarm("suction-low")
    return broker, daemon


# ---- formats ----

def fetch(daemon, path, accept=None):
    answer = daemon.request("GET", path, page=True, headers={"Accept": accept} if accept else {})
    equal(answer.status, 200, path)
    return answer.headers["Content-Type"], answer.body.decode()


def samples(families):
    """{(name, labels): value} of a parsed answer; what moves by itself left out."""
    return {(s.name, tuple(sorted(s.labels.items()))): s.value for f in families for s in f.samples
            if s.name not in ("subslab_turns_total", "subslab_turn_longest_seconds",
                              "subslab_store_size_bytes")}


@suite.test
def both_formats_say_the_same_by_accept(place):
    _, daemon = furnished(place)
    for path in ("/metrics", "/metrics/systems"):
        kind, text = fetch(daemon, path)
        check(kind.startswith(OPEN), f"without a wish: {kind}")
        opened = samples(open_families(text))
        kind, text = fetch(daemon, path, TEXT)
        check(kind.startswith(TEXT), f"the older format: {kind}")
        check("# EOF" not in text and "# UNIT" not in text, "nothing of OpenMetrics in it")
        equal(samples(text_families(text)), opened, path)
        judged = promtool("check", "metrics", text_in=text)
        equal((judged.returncode, judged.stdout + judged.stderr), (0, ""), f"promtool of {path}")
    check(promtool("check", "metrics", text_in="subslab bad\n").returncode != 0, "promtool finds faults")


@suite.test
def the_metrics_say_what_is(place):
    broker, daemon = furnished(place)
    whole = samples(open_families(fetch(daemon, "/metrics")[1]))
    check(any(name == "subslab_build_info" and dict(labels)["version"] for name, labels in whole), "build")
    standing = {labels: value for (name, labels), value in whole.items() if name == "subslab_alarms_standing"}
    equal(standing, {(("condition", "suction-low"), ("priority", "medium")): 1}, "alarms")
    by_system = samples(open_families(fetch(daemon, "/metrics/systems")[1]))
    equal({labels: v for (name, labels), v in by_system.items() if name == "subslab_system_status"},
          {(("status", "out of spec"), ("system", "mill")): 1, (("status", "in spec"), ("system", "creek")): 1},
          "statuses")
    values = {dict(labels)["system"] + "/" + dict(labels)["point"]: (value, dict(labels)["unit"])
              for (name, labels), value in by_system.items() if name == "subslab_point_value"}
    equal(values, {"mill/suction": (50, "Pa"), "creek/suction": (300, "Pa"), "mill/radon": (92.5, "Bq/m3")},
          "values")
    broker.publish([("subslab/mill/suction", timed(300, now_ms() + 1))])
    wait_until(lambda: "subslab_alarms_standing{" not in fetch(daemon, "/metrics")[1], 10, "it returns")


@suite.test
def a_large_fleet_comes_whole_and_in_parts(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system(f"s{i}", [point("suction")]) for i in range(1500)])
    daemon.start()
    broker.publish([(f"subslab/s{i}/suction", timed(200 + i / 10, now_ms())) for i in range(1500)])
    wait_until(lambda: daemon.metric("subslab_readings_total") == 1500, 60, "all readings")
    found = samples(open_families(fetch(daemon, "/metrics/systems")[1]))
    equal(len(found), 3 * 1500, "samples")
    equal(sum(value for (name, _), value in found.items() if name == "subslab_point_value"),
          sum(200 + i / 10 for i in range(1500)), "the sum of all values")


# ---- rules ----

@suite.test
def the_rules_fire_when_they_should(place):
    folder = place.new_folder("rules")
    for source in (os.path.join(FILES, "subslabd.rules.yml"),
                   os.path.join(SOURCE, "tests/neighbours/rules_test.yml")):
        shutil.copy(source, folder)
    rules, tests = (os.path.join(folder, name) for name in ("subslabd.rules.yml", "rules_test.yml"))
    for command in (("check", "rules", rules), ("test", "rules", tests)):
        done = promtool(*command)
        equal(done.returncode, 0, f"promtool {command[0]}: {done.stdout}{done.stderr}")
    text = read(rules)
    for alert, good, bad in (("Gone", "== 0 or absent", "== 2 or absent"), ("BrokerLost", "connected == 0", "connected == 1"),
                             ("HighPriority", 'priority="high"', 'priority="low"'), ("TakesNothing", "[1h]) == 0", "[1h]) < 0"),
                             ("ReachesNobody", "[1d]) > 0", "[1d]) > 9")):
        check(good in text, f"the rule {alert} has {good}")
        write_file(rules, text.replace(good, bad))
        check(promtool("test", "rules", tests).returncode != 0, f"a wrong rule {alert} is found")


# ---- a real scrape ----

class Prometheus:
    def __init__(self, place, page_port):
        if not shutil.which("prometheus"):
            raise Skipped("prometheus is not installed")
        self.folder, self.port = place.new_folder("prometheus"), free_port()
        shutil.copy(os.path.join(FILES, "subslabd.rules.yml"), self.folder)
        text = read(FILES, "scrape.yml")
        for old, new in (("127.0.0.1:8148", f"127.0.0.1:{page_port}"), ("30s", "1s"), ("5m", "1s")):
            check(old in text, f"scrape.yml has {old}")
            text = text.replace(old, new)
        settings = write_file(os.path.join(self.folder, "prometheus.yml"), text)
        judged = promtool("check", "config", settings)
        equal(judged.returncode, 0, f"scrape.yml: {judged.stdout}{judged.stderr}")
        with open(os.path.join(self.folder, "log"), "ab") as log:
            self.process = subprocess.Popen(
                ["prometheus", f"--config.file={settings}", f"--storage.tsdb.path={self.folder}/data",
                 f"--web.listen-address=127.0.0.1:{self.port}"], stdout=log, stderr=log,
                preexec_fn=dies_with_us)
        place.at_end(self.end)

    def ask(self, path, **query):
        address = f"http://127.0.0.1:{self.port}/api/v1/{path}?{urlencode(query)}"
        with urllib.request.urlopen(address, timeout=20) as answer:
            return json.load(answer)["data"]

    def targets(self):
        try:
            return {t["labels"]["job"]: (t["health"], t["lastError"])
                    for t in self.ask("targets")["activeTargets"]}
        except OSError:
            return {}

    def found(self, expression):
        return self.ask("query", query=expression)["result"]

    def end(self):
        self.process.terminate()
        self.process.wait(30)


@suite.test
def a_real_prometheus_finds_what_rules_and_dashboard_ask_for(place):
    _, daemon = furnished(place)
    prometheus = Prometheus(place, daemon.page_port)
    jobs = {"subslabd": ("up", ""), "subslabd-systems": ("up", "")}
    wait_until(lambda: prometheus.targets() == jobs, 30, f"both targets up: {prometheus.targets()}")
    wait_until(lambda: prometheus.found("rate(subslab_turns_total[1m]) > 0"), 20, "two samples of a counter")
    for rule in prometheus.ask("rules")["groups"][0]["rules"]:
        check(rule["health"] in ("ok", "unknown"), f"{rule['name']}: {rule.get('lastError')}")
    dashboard = json.loads(read(FILES, "dashboard.json"))
    asked = 0
    for panel in dashboard["panels"]:
        for target in panel["targets"]:
            expression = target["expr"].replace("$system", ".*")
            check(prometheus.found(expression), f"{panel['title']}: nothing for {expression}")
            asked += 1
    check(asked > 15, f"expressions asked: {asked}")
    equal(len({panel["id"] for panel in dashboard["panels"]}), len(dashboard["panels"]), "ids of panels")
    variable = next(v for v in dashboard["templating"]["list"] if v["name"] == "system")
    check("label_values(subslab_system_status, system)" == variable["query"]["query"], "the variable")
    equal({one["metric"]["system"] for one in prometheus.found("subslab_system_status")}, {"mill", "creek"},
          "what it offers")
    told = samples(open_families(fetch(daemon, "/metrics")[1]))
    for name, _ in told:
        check(prometheus.found(name), f"{name} is not in the Prometheus")


if __name__ == "__main__":
    suite.run()
