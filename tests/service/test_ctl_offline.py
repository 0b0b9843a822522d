"""The operator's tool without a daemon: help, versions, check, replay. Exact exit statuses."""
import csv
import json
import os
import re
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))


def build_folder():
    for folder in (os.environ.get("SUBSLAB_BUILD"), ROOT + "/build-check", ROOT + "/build"):
        if folder and os.path.exists(folder + "/subslabctl"):
            return folder
    sys.exit("no built subslabctl; name the build folder in SUBSLAB_BUILD")


TOOL = build_folder() + "/subslabctl"
COMMANDS = """check systems show alarms acknowledge shelve unshelve out-of-service return-to-service
commission record radon-test radon-tests visits visit-done import export replay deliveries test-alert unclaimed refused enrol
verify backup restore forget move fans report""".split()

SETTINGS = """broker: {host: 127.0.0.1}
systems: systems/
store: {file: nothing.db}
operator_socket: nobody.sock
"""
SYSTEM = """id: birch-lane-12
name: 12 Birch Lane
time_zone: America/Denver
points:
  - {id: suction, quantity: suction, unit: inH2O, every: 10 min}
  - {id: fan-power, quantity: fan-power, unit: W, every: 10 min}
"""
RECORD = """date: 2025-12-01
by: the installer
points: {suction: 1.00 inH2O, fan-power: 20 W}
radon_after: 1.2 pCi/L
"""


class Folder:
    """A folder with settings and one system; runs the tool in it."""

    def __init__(self):
        self.keep = tempfile.TemporaryDirectory()
        self.path = self.keep.name
        os.mkdir(self.path + "/systems")
        self.write("s.yaml", SETTINGS)
        self.write("systems/birch.yaml", SYSTEM)
        self.write("record.yaml", RECORD)

    def write(self, name, text, mode=0o600):
        path = os.path.join(self.path, name)
        with open(path, "w") as file:
            file.write(text)
        os.chmod(path, mode)
        return path

    def run(self, *arguments, settings="s.yaml", stdin=""):
        extra = ["--settings", settings] if settings else []
        return subprocess.run([TOOL, *extra, *arguments], cwd=self.path, input=stdin, text=True,
                              capture_output=True, timeout=120)


def expect(result, status, out=None, err=None):
    told = f"status {result.returncode}\n{result.stdout}\n{result.stderr}"
    assert result.returncode == status, told
    for pattern, text in ((out, result.stdout), (err, result.stderr)):
        if pattern is not None:
            assert re.search(pattern, text, re.M), f"no {pattern!r} in: {told}"


def test_help_and_version():
    folder = Folder()
    result = folder.run("--help", settings=None)
    expect(result, 0, out=r"^usage: subslabctl")
    for name in COMMANDS:
        assert re.search(rf"^  {name} ", result.stdout, re.M), name
        expect(folder.run(name, "--help", settings=None), 0, out=rf"^usage: subslabctl {name}")
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    expect(folder.run("--version", settings=None), 0, out=r"^subslabctl \d+\.\d+\.\d+$")


# arguments, and what the refusal says
WRONG_USE = [
    ([], "no command"),
    (["acknowlege"], "unknown command acknowlege; did you mean acknowledge"),
    (["--colour"], "unknown option --colour"),
    (["alarms", "--sytem", "x"], "unknown option --sytem"),
    (["acknowledge", "1"], "--by NAME is missing"),
    (["acknowledge", "--by", "Ann"], "too few arguments"),
    (["acknowledge", "one", "--by", "Ann"], "ALARM is a number"),
    (["show"], "too few"),
    (["show", "a", "b"], "too many"),
    (["shelve", "1", "--until", "2 h", "--by", "Ann"], "--why TEXT"),
    (["alarms", "--since"], "--since needs a value"),
    (["export", "x", "--as", "xml"], "allowed: csv, senml"),
    (["commission", "x", "--learn", "a", "b"], "usage"),
]


def test_wrong_use():
    folder = Folder()
    for arguments, said in WRONG_USE:
        expect(folder.run(*arguments), 2, err=said)
    expect(folder.run("systems", settings="absent.yaml"), 2, err="absent.yaml: No such file")


def test_no_daemon():
    folder = Folder()
    result = folder.run("systems")
    expect(result, 1, err=r"no daemon answers on .*nobody\.sock; start it with: systemctl start "
                          r"subslabd, or name the settings with --settings FILE")
    assert result.stdout == ""
    expect(folder.run("import", "absent.csv"), 1, err="absent.csv: No such file")
    expect(folder.run("verify"), 1, err=r"nothing\.db")


def test_check_good():
    folder = Folder()
    expect(folder.run("check"), 0, out=r"^s\.yaml: 1 systems, 2 points, 0 contacts$")
    expect(folder.run("check", "systems/birch.yaml"), 0, out="system birch-lane-12, 2 points")
    expect(folder.run("check", "s.yaml", settings=None), 0, out="1 systems, 2 points")
    folder.write("secret", "whsec_" + "QUJD" * 10 + "\n")
    folder.write("token", "Bearer 1\n")
    folder.write("c.yaml", SETTINGS + """contacts:
  - id: office
    role: contractor
    webhook:
      url: https://alerts.example/hook
      body: template
      template: '{"text": {{text}}, "v": {{value}}}'
      signing_secret_file: secret
      headers: {Authorization: "file:token"}
""")
    result = folder.run("check", settings="c.yaml")
    expect(result, 0, out="1 contacts")
    assert result.stderr == ""


def test_check_names_files_beside_the_settings():
    """File names are relative to the folder of the settings, wherever the tool is started."""
    folder = Folder()
    os.mkdir(folder.path + "/etc")
    os.mkdir(folder.path + "/etc/systems")
    folder.write("etc/systems/birch.yaml", SYSTEM)
    folder.write("etc/password", "sesame\n")
    folder.write("etc/s.yaml", "broker: {username: subslabd, password_file: password}\n")
    expect(folder.run("check", settings="etc/s.yaml"), 0, out="1 systems")
    os.remove(folder.path + "/etc/password")
    expect(folder.run("check", settings="etc/s.yaml"), 2, err="password_file: etc/password: No such")


# what is written in place of what in the system's file, and what is said of it
BAD_SYSTEMS = [
    ("unit: inH2O", "unit: bananas", r"^systems/birch\.yaml:5: .*unit.*bananas"),
    ("name:", "nmae:", r"^systems/birch\.yaml:2: nmae: .*name"),
    ("Denver", "Nowhere", r"^systems/birch\.yaml:\d+: time_zone"),
]


def test_check_bad():
    folder = Folder()
    for there, fault, said in BAD_SYSTEMS:
        folder.write("systems/birch.yaml", SYSTEM.replace(there, fault))
        for arguments in ([], ["systems/birch.yaml"]):
            expect(folder.run("check", *arguments), 2, err=said)
    folder.write("systems/birch.yaml", SYSTEM)
    expect(folder.run("check", "absent.yaml"), 2, err=r"^absent\.yaml:1: ")
    expect(folder.run("check", settings="absent.yaml"), 2, err=r"^absent\.yaml:1: ")
    folder.write("b.yaml", SETTINGS + "brocker: {}\n")
    expect(folder.run("check", settings="b.yaml"), 2, err=r"^b\.yaml:5: brocker: .*broker")


def test_check_secrets():
    folder = Folder()
    text = SETTINGS.replace("host: 127.0.0.1", "host: h, username: u, password_file: word")
    text += """contacts:
  - id: office
    role: contractor
    webhook:
      url: https://alerts.example/hook
      signing_secret_file: secret
      headers:
        Authorization: file:token
"""
    folder.write("c.yaml", text)
    result = folder.run("check", settings="c.yaml")
    expect(result, 2, err=r"^c\.yaml:1: broker\.password_file: .*word: No such file")
    expect(result, 2, err=r"^c\.yaml:10: contacts\[office\]\.webhook\.signing_secret_file: ")
    expect(result, 2, err=r"^c\.yaml:12: contacts\[office\]\.webhook\.headers\.Authorization: ")
    folder.write("word", "p\n")
    folder.write("secret", "whsec_short\n")
    folder.write("token", "Bearer 1\n", mode=0o644)
    result = folder.run("check", settings="c.yaml")
    expect(result, 2, err=r"is no signing secret; allowed: whsec_")
    expect(result, 2, err=r"may read this secret; run: chmod o-rwx")
    assert "password_file" not in result.stderr and "Bearer" not in result.stderr
    folder.write("secret", "whsec_" + "QUJD" * 10 + "\n")
    folder.write("token", "Bearer 1\n")
    expect(folder.run("check", settings="c.yaml"), 0)


def readings():
    """20 days; suction at half for 100 intervals; two hours of silence."""
    lines = ["time,system,point,value,unit"]
    for i in range(2880):
        suction = (1.0 + 0.01 * ((i * 7919) % 13 - 6) / 6) * (0.5 if 600 <= i < 700 else 1.0)
        if 1500 <= i < 1512:
            continue
        minute = 10 * i
        time = "2026-01-%02dT%02d:%02d:00Z" % (1 + minute // 1440, minute // 60 % 24, minute % 60)
        lines.append(f"{time},birch-lane-12,suction,{suction:.4f},inH2O")
        lines.append(f"{time},birch-lane-12,fan-power,{20 + 0.1 * (i * 31 % 7):.1f},")
    return lines


EXPECTED = [
    ["system", "condition", "point", "priority", "raised", "returned", "diagnosis", "branch"],
    ["birch-lane-12", "suction-low", "suction", "medium", "2026-01-05T10:00:00Z",
     "2026-01-05T20:50:00Z"],
    ["birch-lane-12", "system-silent", "", "medium", "2026-01-11T11:05:00Z",
     "2026-01-11T12:00:00Z"],
]


def rows_of(path):
    with open(path, newline="") as file:
        rows = list(csv.reader(file))
    assert all(len(row) == 8 for row in rows), rows
    return [rows[0]] + [row[:6] for row in rows[1:]]


def test_replay():
    folder = Folder()
    lines = readings()
    folder.write("r.csv", "\n".join(lines) + "\n")
    folder.write("shuffled.csv", "\n".join([lines[0]] + lines[:0:-1]) + "\n")
    os.mkdir(folder.path + "/records")
    folder.write("records/birch-lane-12.yaml", RECORD)
    for file, commission in (("r.csv", "birch-lane-12=record.yaml"), ("shuffled.csv", "records")):
        result = folder.run("replay", file, "--commission", commission, "--alarms", "out.csv")
        expect(result, 0, out="2 alarms")
        assert rows_of(folder.path + "/out.csv") == EXPECTED
    result = folder.run("replay", "r.csv", "--commission", "records")
    expect(result, 0, out="suction-low")
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    result = folder.run("--json", "replay", "r.csv", "--commission", "records")
    assert [[row[key] or "" for key in EXPECTED[0][:6]] for row in json.loads(result.stdout)] == \
        EXPECTED[1:], result.stdout
    result = folder.run("replay", "-", "--commission", "records", "--alarms", "-",
                        stdin="\n".join(lines))
    assert result.stdout.splitlines()[0] == ",".join(EXPECTED[0])
    result = folder.run("replay", "r.csv", "--alarms", "out.csv")  # no baseline: nothing relative
    expect(result, 0)
    assert rows_of(folder.path + "/out.csv") == [EXPECTED[0], EXPECTED[2]]


def test_replay_limits():
    """What other limits would have said: that is what replay is for."""
    folder = Folder()
    folder.write("r.csv", "\n".join(readings()) + "\n")
    for limits, raised in (("setpoint: 40 %", None), ("on_delay: 2 h", "2026-01-05T06:00:00Z")):
        folder.write("systems/birch.yaml", SYSTEM + f"conditions: {{suction-low: {{{limits}}}}}\n")
        expect(folder.run("replay", "r.csv", "--commission", "birch-lane-12=record.yaml",
                          "--alarms", "out.csv"), 0)
        rows = [row for row in rows_of(folder.path + "/out.csv") if row[1] == "suction-low"]
        assert [row[4] for row in rows] == ([raised] if raised else []), rows


def test_replay_bad():
    folder = Folder()
    lines = readings()
    lines[3:3] = ["rubbish", "2026-01-01T00:00:00Z,birch-lane-12,suction,9,bananas"]
    lines.append(lines[1].replace("0.9", "0.8"))
    folder.write("r.csv", "\n".join(lines) + "\n")
    result = folder.run("replay", "r.csv", "--commission", "birch-lane-12=record.yaml", "--alarms",
                        "out.csv")
    expect(result, 1, err=r"^r\.csv:4: ")
    expect(result, 1, err=r'^r\.csv:5: unit "bananas" is not known$')
    expect(result, 1, err=rf"^r\.csv:{len(lines)}: conflict")
    assert rows_of(folder.path + "/out.csv") == EXPECTED  # the rest was judged
    folder.write("h.csv", "time,point,value\n")
    expect(folder.run("replay", "h.csv"), 1, err=r'^subslabctl: replay: h\.csv:1: .*"system"')
    expect(folder.run("replay", "absent.csv"), 1, err="absent.csv: No such file")
    expect(folder.run("replay", "r.csv", "--commission", "nobody=record.yaml"), 2, err="nobody")
    expect(folder.run("replay", "r.csv", "--commission", "nonsense"), 2, err="SYSTEM=FILE")
    folder.write("bad.yaml", RECORD.replace("inH2O", "pCi/L"))
    expect(folder.run("replay", "r.csv", "--commission", "birch-lane-12=bad.yaml"), 2,
           err=r"^bad\.yaml:3: ")
    expect(folder.run("replay", "r.csv", "--commission", "records"), 2)


def run_tests(names):
    """Runs every test_… of names, a module's globals(), and ends the program with the sum."""
    failed = passed = 0
    for name, test in sorted(names.items()):
        if not name.startswith("test_"):
            continue
        try:
            test()
            passed += 1
        except Exception as error:  # pylint: disable=broad-except
            failed += 1
            print(f"{name}: {error!r}".replace("\\n", "\n"))
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)


if __name__ == "__main__":
    run_tests(globals())
