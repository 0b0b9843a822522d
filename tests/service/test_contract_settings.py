#!/usr/bin/env python3
"""Outside contract: the settings and the system file as printed there, and what is refused."""
import base64
import json
import os
import re
import shutil
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
# pylint: disable=wrong-import-position
from contract import CTL, DAEMON, Tool, files, near  # noqa: E402
from harness import Suite, check, equal, now_ms, rfc3339, wait_until, write_file  # noqa: E402

suite = Suite()

SETTINGS = """\
broker:
  host: 127.0.0.1
  port: 1883
  client_id: subslabd            # the persistent session's name
  protocol: 5                    # or 3.1.1
  username: subslabd
  password_file: broker-password # relative to this file; must not be world-readable
  tls: {ca_file: ca.pem, certificate_file: client.pem, key_file: client.key}
  subscribe: [ "subslab/#" ]
store:
  file: /var/lib/subslabd/subslab.db
  keep_readings: 10 y            # raw; hourly values are kept for good
page:
  address: 127.0.0.1
  port: 8148                     # 0: none
operator_socket: /run/subslabd/operator.sock
units: us                        # or si: for texts and pages; storage is SI
radon_action_level: 4 pCi/L      # default; 148 Bq/m3
systems: systems/                # folder of *.yaml, or a list of files
contacts:
  - id: office
    role: contractor             # contractor, homeowner, technician
    webhook:
      url: https://alerts.example/hook
      body: cloudevents          # cloudevents, text, or template
      template: '{"text": {{text}}}'   # with body: template; values are JSON-escaped
      signing_secret_file: office-secret   # Standard Webhooks "whsec_…"
      headers: {Authorization: file:office-token}
    quiet_hours: 21:00-07:00     # holds back all but high priority
    units: us                    # or si; default: the fleet's
    language: en
    remind_every: 24 h           # while unacknowledged
    escalate_to: {contact: owner, after: 4 h}
"""
MORE_CONTACTS = """\
  - id: owner
    role: technician
    webhook: {url: https://alerts.example/owner, body: text}
  - id: owner-12
    role: homeowner
    webhook: {url: https://alerts.example/owner-12, body: text}
"""
SYSTEM = """\
id: birch-lane-12
name: 12 Birch Lane
time_zone: America/Denver
foundation: drain tile            # free text from the trade, shown to the technician
pipe: {inside_diameter: 3.068 in}
fan:
  curve: [[0 cfm, 1.9 inH2O], [40 cfm, 1.4 inH2O], [90 cfm, 0.2 inH2O]]   # from the maker's sheet; optional
  power: 22 W                     # optional
contacts: [office, owner-12]      # default: all contractors
points:
  - id: suction
    quantity: suction
    topic: subslab/birch-lane-12/suction     # default: subslab/<system>/<point>
    unit: inH2O                   # what the sensor sends
    every: 10 min
    value: /pressure/inwc         # JSON Pointer into the payload; default: the whole payload, "/value" or SenML
    time: /ts                     # optional; RFC 3339, or seconds or milliseconds since 1970 by time_unit
    scale: 1.0
    offset: 0.0
    limits: {low: 70 %, lost: 10 %, high: 140 %}   # percent of baseline, or a value with a unit
"""
SECRETS = {"broker-password": "a password\n", "office-token": "Bearer of-a-token\n",
           "office-secret": "whsec_" + base64.b64encode(bytes(range(32))).decode() + "\n"}


def lay_out(place, settings=SETTINGS + MORE_CONTACTS, one=SYSTEM, name="systems/birch-lane-12.yaml"):
    folder = place.new_folder("settings")
    certificates = {name: "" for name in ("ca.pem", "client.pem", "client.key")}
    files(folder, {"subslabd.yaml": settings, name: one, **SECRETS, **certificates})
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
                    "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2", "-subj", "/CN=test",
                    "-keyout", "client.key", "-out", "client.pem"], cwd=folder, check=True,
                   capture_output=True)
    shutil.copy(os.path.join(folder, "client.pem"), os.path.join(folder, "ca.pem"))
    return Tool(os.path.join(folder, "subslabd.yaml"))


@suite.test
def the_printed_settings_and_system_file_are_good(place):
    out, err = lay_out(place).run("check")
    equal(err, "", "nothing to complain of")
    check(out, "check says that all is well")


@suite.test
def check_takes_files_by_name_and_needs_no_daemon(place):
    tool = lay_out(place)
    system_file = os.path.join(tool.folder, "systems", "birch-lane-12.yaml")
    tool.run("check", system_file)
    tool.run("check", tool.settings_file, system_file)
    write_file(system_file, SYSTEM.replace("every: 10 min", "evry: 10 min"))
    for arguments in ((), (system_file,)):
        err = tool.run("check", *arguments, status=2)
        text = err[0] + err[1]
        line = SYSTEM[:SYSTEM.index("every: 10 min")].count("\n") + 1
        check(re.search(rf"birch-lane-12\.yaml:{line}: [^\n:]*evry: [^\n]*every", text), text)


@suite.test
def the_daemon_runs_with_the_printed_settings(place):
    """With ports and paths of the test, the rest as printed; and the broker's account is used."""
    folder = place.new_folder("accounts")
    passwords = write_file(os.path.join(folder, "passwords"), "subslabd:a password\n")
    subprocess.run(["mosquitto_passwd", "-U", passwords], check=True)
    broker = place.broker(start=False)
    text = open(broker.settings, encoding="utf-8").read()
    write_file(broker.settings, text.replace("allow_anonymous true",
                                             f"allow_anonymous false\npassword_file {passwords}"))
    broker.start()
    daemon = place.daemon(broker, [])
    changed = (SETTINGS + MORE_CONTACTS).replace("port: 1883", f"port: {broker.port}")
    changed = re.sub(r"  tls: .*\n", "", changed)
    changed = changed.replace("/var/lib/subslabd/subslab.db", daemon.store)
    changed = changed.replace("port: 8148", f"port: {daemon.page_port}")
    changed = changed.replace("/run/subslabd/operator.sock", daemon.socket)
    for protocol in ("5", "3.1.1"):
        files(daemon.folder, {"subslabd.yaml": changed.replace("protocol: 5", f"protocol: {protocol}"),
                              "systems/birch.yaml": SYSTEM, **SECRETS})
        daemon.start()
        at = now_ms() // 1000 * 1000 - 120_000 + (1000 if protocol == "5" else 0)
        message = json.dumps({"pressure": {"inwc": 0.6}, "ts": rfc3339(at)})
        subprocess.run(["mosquitto_pub", "-p", str(broker.port), "-u", "subslabd", "-P", "a password",
                        "-q", "1", "-t", "subslab/birch-lane-12/suction", "-m", message], check=True)
        stored = wait_until(lambda: [r for r in daemon.readings("birch-lane-12", "suction")  # pylint: disable=cell-var-from-loop
                                     if r[0] == at], 10, "the reading")  # pylint: disable=cell-var-from-loop
        near(stored[0][1], 0.6 * 249.08891, "0.6 inH2O in Pa")
        check("a password" not in daemon.log() and "of-a-token" not in daemon.log(), "a secret is in the log")
        equal(daemon.stop(), 0, "exit status")


@suite.test
def what_may_be_left_out_may_be_left_out(place):
    least = "id: mill\npoints:\n  - {id: suction, quantity: suction}\n"
    lay_out(place, "systems: systems/\n", least).run("check")
    lay_out(place, "systems: [one/a.yaml]\n", least, "one/a.yaml").run("check")
    lay_out(place, "units: si\nradon_action_level: 148 Bq/m3\npage: {port: 0}\nsystems: systems/\n",
            least).run("check")
    every = "suction field velocity-pressure airflow fan-power fan-current radon indoor-temperature " \
            "outdoor-temperature barometric-pressure humidity water-level battery".split()
    points = "".join(f"  - {{id: {name}, quantity: {name}}}\n" for name in every)
    lay_out(place, "systems: systems/\n", "id: mill\npoints:\n" + points).run("check")


@suite.test
def conditions_may_be_set_for_fleet_system_and_point(place):
    override = "{suction-low: {setpoint: 65 %, deadband: 5 %, on_delay: 2 h, off_delay: 1 h, priority: high}}"
    tool = lay_out(place, SETTINGS + MORE_CONTACTS + f"conditions: {override}\n",
                   SYSTEM.replace("low: 70 %, ", "") + f"    conditions: {override}\nconditions: {override}\n")
    tool.run("check")
    names = """suction-lost suction-low suction-high suction-fading field-weak field-reversed fan-stopped power-high
        fan-weak
        fan-fading
        ground-changed radon-high radon-above-action radon-rising water-high sensor-silent sensor-stuck
        sensor-implausible sensor-clock battery-low reading-due system-silent fleet-silent retest-due visit-due
        calibration-due broker-lost messages-refused store-failing store-damaged delivery-failing
        clock-jumped readings-gap backup-failing""".split()
    text = "".join(f"  {name}: {{priority: medium}}\n" for name in names)
    lay_out(place, SETTINGS + MORE_CONTACTS + "conditions:\n" + text).run("check")


def refused(place, settings, one, file, found, named, allowed):
    """The complaint is FILE:LINE: key: what; LINE is that of the text `found`."""
    tool = lay_out(place, settings, one)
    out, err = tool.run("check", status=2)
    text = one if file.startswith("birch") else settings
    check(found in text, f"the test itself: no {found!r}")
    line = text[:text.rindex(found)].count("\n") + 1
    pattern = rf"(?m)^\S*{re.escape(file)}:{line}: [^:\n]*{re.escape(named)}[^:\n]*: .*{allowed}"
    check(re.search(pattern, out + err), f"no /{pattern}/ in: {out}{err}")


@suite.test
def mistakes_are_told_as_file_line_key_and_what_is_allowed(place):
    whole = SETTINGS + MORE_CONTACTS
    table = [  # text, becomes, named key, what must be said
        ("client_id: subslabd", "clientid: subslabd", "clientid", "client_id"),
        ("operator_socket:", "operator_sockett:", "operator_sockett", "operator_socket"),
        ("keep_readings: 10 y", "keep_reading: 10 y", "keep_reading", "keep_readings"),
        ("keep_readings: 10 y", "keep_readings: 10 parsecs", "keep_readings", "parsecs"),
        ("port: 8148", "port: 81480", "port", "65535"),
        ("address: 127.0.0.1", "address: 0.0.0.0", "address", "access_file"),
        ("protocol: 5", "protocol: 4", "protocol", "3.1.1"),
        ("units: us    ", "units: imperial ", "units", "si"),
        ("radon_action_level: 4 pCi/L", "radon_action_level: 4 inH2O", "radon_action_level", "inH2O"),
        ("radon_action_level: 4 pCi/L", "radon_action_level: 4 ", "radon_action_level", "pCi/L"),
        ("role: contractor", "role: plumber", "role", "homeowner"),
        ("body: cloudevents", "body: xml", "body", "template"),
        ("quiet_hours: 21:00-07:00", "quiet_hours: 25:00-07:00", "quiet_hours", "25:00"),
        ("remind_every: 24 h", "remind_evry: 24 h", "remind_evry", "remind_every"),
        ("contact: owner,", "contact: nobody,", "contact", "nobody"),
        ("language: en", "language: tlh", "language", "en"),
        ("url: https://alerts.example/hook", "url: ftp://alerts.example/hook", "url", "http"),
        ("url: https://alerts.example/hook", "url: https://alerts.example/hook x", "url", ""),
        ("signing_secret_file: office-secret", "signing_secret_file: no-such-file",
         "signing_secret_file", "no-such-file"),
        ("password_file: broker-password", "password_file: no-such-file", "password_file",
         "no-such-file"),
        ("  - id: owner-12\n", "  - id: office\n", "id", "office"),
        ("store:", "stor:", "stor", "store"),
        ("systems: systems/", "systems: elsewhere/", "systems", "elsewhere"),
    ]
    for before, after, named, allowed in table:
        refused(place, whole.replace(before, after, 1), SYSTEM, "subslabd.yaml", after.split("\n")[0],
                named, allowed)
    of_system = [
        ("quantity: suction", "quantity: sucktion", "quantity", "suction"),
        ("unit: inH2O", "unit: pCi/L", "unit", "pCi/L"),
        ("unit: inH2O", "unit: furlong", "unit", "furlong"),
        ("every: 10 min", "every: 10", "every", ""),
        ("every: 10 min", "every: -10 min", "every", ""),
        ("value: /pressure/inwc", "value: pressure.inwc", "value", "/"),
        ("time_zone: America/Denver", "time_zone: America/Denvr", "time_zone", "Denvr"),
        ("inside_diameter: 3.068 in", "inside_diameter: 3.068 W", "inside_diameter", "W"),
        ("inside_diameter:", "inside_diamter:", "inside_diamter", "inside_diameter"),
        ("limits: {low: 70 %", "limits: {lo: 70 %", "lo", "low"),
        ("limits: {low: 70 %", "limits: {low: 70 pCi/L", "low", "pCi/L"),
        ("contacts: [office", "contacts: [ofice", "contacts", "ofice"),
        ("[40 cfm, 1.4 inH2O]", "[40 cfm, 2.4 inH2O]", "curve", ""),
        ("time: /ts", "timee: /ts", "timee", "time"),
        ("scale: 1.0", "scale: much", "scale", ""),
        ("id: birch-lane-12", "id: birch lane/12", "id", ""),
    ]
    for before, after, named, allowed in of_system:
        refused(place, whole, SYSTEM.replace(before, after, 1), "birch-lane-12.yaml", after, named,
                allowed)


@suite.test
def two_points_of_one_topic_and_one_id_twice_are_refused(place):
    whole = SETTINGS + MORE_CONTACTS
    again = SYSTEM + ("  - {id: other, quantity: suction, topic: subslab/birch-lane-12/suction, "
                      "value: /pressure/inwc}\n")
    refused(place, whole, again, "birch-lane-12.yaml", "topic: subslab/birch-lane-12/suction, value", "topic",
            "suction")
    again = SYSTEM + "  - {id: suction, quantity: field, topic: subslab/other}\n"
    refused(place, whole, again, "birch-lane-12.yaml", "id: suction, quantity: field", "id", "suction")


@suite.test
def secrets_readable_by_everybody_are_refused(place):
    for name in ("broker-password", "office-secret", "office-token", "client.key"):
        tool = lay_out(place)
        os.chmod(os.path.join(tool.folder, name), 0o644)
        out, err = tool.run("check", status=2)
        check(re.search(rf"subslabd\.yaml:\d+: .*{name}", out + err), f"{name}: {out}{err}")
        daemon = subprocess.run([DAEMON, "--settings", tool.settings_file], capture_output=True,
                                text=True, timeout=30, check=False)
        equal(daemon.returncode, 2, "exit status of the daemon")
        check(name in daemon.stderr, daemon.stderr)


@suite.test
def both_programs_have_help_version_and_statuses(place):
    tool = lay_out(place)
    for program in (CTL, DAEMON):
        for option in ("--help", "--version"):
            done = subprocess.run([program, option], capture_output=True, text=True, check=False)
            equal((done.returncode, done.stderr), (0, ""), f"{program} {option}")
            check(done.stdout.strip(), f"{program} {option} says something")
        done = subprocess.run([program, "--settings", "/no/such.yaml"] +
                              (["check"] if program == CTL else []),
                              capture_output=True, text=True, check=False)
        equal(done.returncode, 2, f"{program} without settings")
        check(re.search(r"/no/such\.yaml:\d+: ", done.stderr + done.stdout), done.stderr)
    tool.run(status=2)
    tool.run("sistems", status=2)
    tool.run("systems", "--bogus", status=2)
    tool.run("show", status=2)
    tool.run("systems", status=1)  # no daemon


if __name__ == "__main__":
    suite.run()
