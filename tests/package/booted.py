#!/usr/bin/env python3
"""The package under a service manager: the Debian at ROOT is booted with its own systemd as process 1
(boot_root.sh), the package is installed into it, and the units do what they say.

    booted.py ROOT       by clean_root.sh, as root; ROOT/packages has first.deb and later.deb

Each line of [Service] must be tried here. What a line of the sandbox forbids (systemd.exec(5)) is
tried by probe.c three times: without any line, where it must work, with that line alone and with the
whole unit, where it must not. Ends with "N passed, N failed".
"""
import json
import os
import re
import shutil
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "..", "support"))
# pylint: disable=wrong-import-position
from harness import (LOW_AT_ONCE, Daemon, Failure, Place, Suite, check, contact,  # noqa: E402
                     equal, notices, now_ms, point, system, timed, wait_until,
                     write_file)
from machine import Machine  # noqa: E402
from unit_lines import AS_ACCOUNT, IN_PROC, PROBED, SHOWN  # noqa: E402

suite = Suite()
UNIT, TEMPLATE = "subslabd.service", "subslabd@.service"
SHARDS = ("north", "south", "east", "west")
COULD, REFUSED = "could", "refused"

# Tried by a test of its own below.
TRIED_BELOW = re.compile(r"(ExecStart|ExecStartPost|ExecReload|User|Group|(State|Runtime|Configuration)Directory(Mode)?|"
                         r"RemoveIPC|SystemCallErrorNumber)=")


class Served(Daemon):
    """A daemon that systemd runs: only asked, not started."""

    def __init__(self, name, page_port):  # pylint: disable=super-init-not-called
        self.process = self.notify = None  # systemd has them
        self.notified = ""
        self.socket = f"{machine.reached}/run/{name}/operator.sock"
        self.page_port = page_port


machine = Machine(sys.argv[1] if len(sys.argv) > 1 else "")
ours = Place()  # lives from test to test
broker = hook = None
PAGE = 8148
STRANGER = ("setpriv", "--reuid", "nobody", "--regid", "nogroup", "--clear-groups")
OPERATOR = (*STRANGER[:-1], "--groups", "subslab-operators")


def settings(name, port, systems="systems/", filters=("subslab/#",), page=PAGE, **more):
    broker_settings = {"host": "127.0.0.1", "port": port, "client_id": name,
                       "subscribe": list(filters), "keepalive": "5 s", **more}
    return json.dumps({"broker": broker_settings, "store": {"file": f"/var/lib/{name}/subslab.db"},
                       "page": {"port": page}, "operator_socket": f"/run/{name}/operator.sock",
                       "systems": systems, "conditions": LOW_AT_ONCE,
                       "contacts": [contact("office", hook, f"/{name}")]}, indent=1)


def lines_of_service(unit):
    """The lines of [Service]."""
    with open(machine.path(f"/usr/lib/systemd/system/{unit}"), encoding="utf-8") as file:
        text = file.read().split("[Service]\n")[1].split("\n[Install]")[0]
    return [line for line in text.splitlines() if line and not line.startswith("#")]


def wait_active(unit):
    wait_until(lambda: machine.show(unit, "ActiveState") == "active", 20, f"{unit} is active")


# ---- the tests, in the order of a package's life --------------------------------------------------

@suite.test
def installing_enables_and_starts_nothing(_place):
    machine.run("dpkg", "-i", "/packages/first.deb")
    equal(machine.show(UNIT, "UnitFileState"), "disabled", "state of the unit file")
    equal(machine.show(UNIT, "ActiveState"), "inactive", "state")
    equal(machine.show("subslabd@north.service", "LoadState"), "loaded", "the template")


@suite.test
def it_starts_takes_readings_and_tells(_place):
    machine.write("/etc/subslabd/subslabd.yaml", settings("subslabd", broker.port))
    machine.write("/etc/subslabd/systems/mill.yaml",
                  json.dumps(system("mill", [point("suction")])))
    machine.run("subslabctl", "check")
    machine.run("systemctl", "enable", "--now", UNIT)
    equal(machine.show(UNIT, "ActiveState"), "active", "state once systemctl has returned")
    check(re.fullmatch(r"0 in spec, 1 silent, broker (lost|connecting|connected), store works",
                       machine.show(UNIT, "StatusText")), machine.show(UNIT, "StatusText"))
    daemon = Served("subslabd", PAGE)
    daemon.wait_connected()
    at = now_ms()
    broker.publish([("subslab/mill/suction", timed(150, at - 60_000)),
                    ("subslab/mill/suction", timed(50, at - 1000))])
    wait_until(lambda: ("mill", "raised", "suction-low") in notices(hook, "/subslabd"), 20, "the message")
    equal([v for _, v in daemon.readings("mill", "suction")], [150, 50], "readings")
    wait_until(lambda: machine.show(UNIT, "StatusText") ==
               "0 in spec, 1 out of spec, broker connected, store works", 20, "what it says of itself")
    equal(daemon.request("GET", "/health", page=True).status, 200, "health on the page")
    check("mill" in machine.run("subslabctl", "systems"), "subslabctl within")


@suite.test
def the_journal_finds_a_system_and_an_event(_place):
    def entries(*match):
        lines = machine.run("journalctl", "--no-pager", "-o", "json", "-u", UNIT, *match).splitlines()
        return [json.loads(line) for line in lines]
    raised = "6e211fd30e814511b4a2f8a05505d298"
    found = entries(f"MESSAGE_ID={raised}", "SUBSLAB_SYSTEM=mill")
    equal([(e["SUBSLAB_POINT"], e["SUBSLAB_CONDITION"], e["SYSLOG_IDENTIFIER"]) for e in found],
          [("suction", "suction-low", "subslabd")], "the raise")
    check("mill/suction: suction-low raised" in found[0]["MESSAGE"], found[0]["MESSAGE"])
    equal(entries("SUBSLAB_SYSTEM=elsewhere"), [], "another system")
    manual = machine.run("sh", "-c", "zcat /usr/share/man/man8/subslabd.8.gz")
    started = re.search(r"([0-9a-f]{32})  the daemon has started", manual).group(1)
    equal(len(entries(f"MESSAGE_ID={started}")), 1, "the start, by the identifier in the manual")


@suite.test
def the_journal_reads_well(_place):
    """Each line, sent or printed, has one name and a priority, and begins with what it is about."""
    lines = [json.loads(line) for line in machine.run(
        "journalctl", "--no-pager", "-o", "json", "-u", UNIT, "SYSLOG_IDENTIFIER=subslabd").splitlines()]
    subjects = set()
    for line in lines:
        found = re.match(r"([a-z]\w*): \S", str(line["MESSAGE"]))  # not text: a list of bytes
        check(found and line["PRIORITY"] in ("3", "4", "5", "6"), f"{line['PRIORITY']}: {line['MESSAGE']}")
        subjects.add(found.group(1))
    check(subjects >= {"start", "page", "broker", "alarm"}, f"subjects: {subjects}")


@suite.test
def the_running_daemon_is_as_the_unit_says(_place):
    pid = machine.main_pid(UNIT)
    for line, (name, value) in SHOWN.items():
        equal(machine.show(UNIT, name), value, line)
    for line, (name, pattern) in IN_PROC.items():
        text = machine.run("cat", f"/proc/{pid}/{name}")
        check(re.search(pattern, text, re.MULTILINE), f"{line}: /proc has {text[:400]}")
    status = machine.run("cat", f"/proc/{pid}/status")
    account, group = machine.run("id", "-u", "subslabd"), machine.run("id", "-g", "subslabd")
    for pattern in (rf"^Uid:(\s+{account}){{4}}$", rf"^Gid:(\s+{group}){{4}}$", r"^NoNewPrivs:\s+1$",
                    r"^Seccomp:\s+2$", r"^CapEff:\s+0+$", r"^CapPrm:\s+0+$", r"^CapBnd:\s+0+$"):
        check(re.search(pattern, status, re.MULTILINE), f"{pattern} is not in {status}")
    for name in ("mnt", "user", "ipc"):
        first, own = (machine.run("readlink", f"/proc/{one}/ns/{name}") for one in (1, pid))
        check(first != own, f"no {name} namespace of its own")
    for path, owner, mode in (("/var/lib/subslabd", "subslabd:subslabd", "750"),
                              ("/run/subslabd", "subslabd:subslabd", "755"),
                              ("/run/subslabd/operator.sock", "subslabd:subslab-operators", "660"),
                              ("/etc/subslabd", "root:subslabd", "750"),
                              ("/var/lib/subslabd/subslab.db", "subslabd:subslabd", "640")):
        equal(machine.run("stat", "-c", "%U:%G %a", path), f"{owner} {mode}", path)


@suite.test
def an_operator_uses_the_tool_and_reads_no_secret(_place):
    machine.write("/etc/subslabd/broker-password", "secret")
    check("mill" in machine.run(*OPERATOR, "subslabctl", "systems"), "systems")
    machine.run(*STRANGER, "subslabctl", "systems", ok=False)
    for path in ("/etc/subslabd/broker-password", "/etc/subslabd/subslabd.yaml", "/var/lib/subslabd/subslab.db"):
        machine.run("test", "-s", path)
        machine.run(*OPERATOR, "cat", path, ok=False)


@suite.test
def a_copy_of_the_night_is_made_and_its_failure_told(_place):
    backup = "subslabd-backup@subslabd"
    machine.run("systemctl", "enable", "--now", f"{backup}.timer")
    check(machine.show(f"{backup}.timer", "NextElapseUSecRealtime"), "no night is planned")
    machine.run("systemctl", "start", f"{backup}.service")
    copies = machine.run("ls", "/var/backups/subslabd/subslabd").split()
    check(len(copies) == 1 and re.fullmatch(r"subslab-\d{8}T\d{6}Z\.db", copies[0]), f"{copies}")
    machine.run("chmod", "500", "/var/backups/subslabd/subslabd")
    machine.run("systemctl", "start", f"{backup}.service", ok=False)
    equal(machine.show(f"{backup}.service", "ActiveState"), "failed", "state")
    wait_until(lambda: [n for n in notices(hook, "/subslabd") if n[2] == "backup-failing"], 20, "told")
    machine.run("chmod", "750", "/var/backups/subslabd/subslabd")
    time.sleep(1.1)  # two copies of one second would have one name
    machine.run("systemctl", "start", f"{backup}.service")
    wait_until(lambda: ("", "returned", "backup-failing") in notices(hook, "/subslabd"), 20, "over")
    machine.run("systemctl", "stop", UNIT)
    machine.run("subslabctl", "restore", f"/var/backups/subslabd/subslabd/{copies[0]}")
    equal(machine.run("stat", "-c", "%U:%G %a", "/var/lib/subslabd/subslab.db"), "subslabd:subslabd 640", "owner")
    machine.run("systemctl", "start", UNIT)
    wait_active(UNIT)
    machine.run("systemctl", "disable", "--now", f"{backup}.timer")


@suite.test
def a_reload_takes_good_settings_and_refuses_bad_ones(_place):
    pid = machine.main_pid(UNIT)
    machine.write("/etc/subslabd/systems/birch.yaml", json.dumps(system("birch", [point("suction")])))
    machine.run("systemctl", "reload", UNIT)
    wait_until(lambda: "read again: 2 systems" in machine.journal(UNIT), 20, "settings read again")
    machine.write("/etc/subslabd/systems/birch.yaml", "id: birch\nnonsense: 1\n")
    machine.run("systemctl", "reload", UNIT)
    wait_until(lambda: "the old ones stay in force" in machine.journal(UNIT), 20, "settings refused")
    check("birch.yaml:2" in machine.journal(UNIT), "the journal does not name the line")
    errors = machine.run("journalctl", "--no-pager", "-o", "cat", "-u", UNIT, "-p", "err")
    check("birch.yaml:2" in errors and "the old ones stay in force" in errors, f"-p err: {errors}")
    check("read again" not in errors, f"-p err has more: {errors}")
    machine.run("rm", "/etc/subslabd/systems/birch.yaml")
    machine.run("systemctl", "reload", UNIT)
    equal(machine.main_pid(UNIT), pid, "number of the process")
    equal(machine.show(UNIT, "ActiveState"), "active", "state")


@suite.test
def the_watchdog_ends_a_daemon_that_hangs(_place):
    machine.drop_in(UNIT, "WatchdogSec=3\nRestartSec=1")
    try:
        machine.run("systemctl", "restart", UNIT)
        pid = machine.main_pid(UNIT)
        time.sleep(7)
        equal(machine.main_pid(UNIT), pid, "a daemon that works is left alone")
        machine.run("kill", "-STOP", str(pid))
        wait_until(lambda: machine.main_pid(UNIT) not in (0, pid), 30, "another daemon")
        wait_active(UNIT)
        check("Watchdog timeout" in machine.journal(UNIT), "the journal does not say why")
    finally:
        machine.no_drop_in(UNIT)


@suite.test
def one_that_was_killed_comes_back_and_misses_nothing(_place):
    machine.run("systemctl", "restart", UNIT)
    daemon = Served("subslabd", PAGE)
    daemon.wait_connected()
    machine.run("systemctl", "kill", "--signal=KILL", UNIT)
    at = now_ms()
    broker.publish([("subslab/mill/suction", timed(120 + i, at + i)) for i in range(5)])
    wait_until(lambda: int(machine.show(UNIT, "NRestarts")) == 1, 20, "the restart")
    wait_active(UNIT)
    daemon.wait_connected()
    wait_until(lambda: [v for _, v in daemon.readings("mill", "suction")][-5:]
               == [120, 121, 122, 123, 124], 20, "what came meanwhile")


@suite.test
def one_that_is_killed_again_and_again_is_never_left_down(_place):
    machine.drop_in(UNIT, "RestartSec=100ms")
    try:
        for _ in range(7):
            pid = machine.main_pid(UNIT)
            machine.run("systemctl", "kill", "--signal=KILL", UNIT)
            wait_until(lambda p=pid: machine.main_pid(UNIT) not in (0, p), 20, "another daemon")
        wait_active(UNIT)
    finally:
        machine.no_drop_in(UNIT)


@suite.test
def bad_settings_at_a_start_are_not_tried_again(_place):
    good = settings("subslabd", broker.port)
    machine.write("/etc/subslabd/subslabd.yaml", "nonsense: 1\n")
    machine.run("systemctl", "restart", UNIT, ok=False)
    equal(machine.show(UNIT, "ExecMainStatus"), "2", "exit status")
    check("nonsense" in machine.run("journalctl", "--no-pager", "-o", "cat", "-u", UNIT, "-p", "err"),
          "-p err says why it ended")
    time.sleep(7)
    equal((machine.show(UNIT, "ActiveState"), machine.show(UNIT, "NRestarts")), ("failed", "0"), "state")
    machine.write("/etc/subslabd/subslabd.yaml", good)
    machine.run("systemctl", "reset-failed", UNIT)
    machine.run("systemctl", "start", UNIT)
    equal(machine.show(UNIT, "ActiveState"), "active", "state")


@suite.test
def secrets_come_as_credentials(place):
    accounts = os.path.join(ours.new_folder("accounts"), "passwd")
    subprocess.run(["mosquitto_passwd", "-b", "-c", accounts, "subslabd", "a-test-password"], check=True)
    locked = place.broker(more=f"password_file {accounts}\n")
    # Later words hold: nobody gets in without a password.
    locked.stop()
    text = open(locked.settings, encoding="utf-8").read()
    write_file(locked.settings, text.replace("allow_anonymous true", "allow_anonymous false"))
    locked.start()
    machine.write("/etc/credstore/subslabd.broker-password", "a-test-password\n", 0o600, "root")
    machine.write("/etc/subslabd/subslabd.yaml", settings(
        "subslabd", locked.port, username="subslabd",
        password_file="/run/credentials/subslabd.service/broker-password"))
    machine.drop_in(UNIT, "LoadCredential=broker-password:/etc/credstore/subslabd.broker-password")
    try:
        machine.run("systemctl", "restart", UNIT, ok=None)
        equal(machine.show(UNIT, "ActiveState"), "active", machine.journal(UNIT)[-600:])
        Served("subslabd", PAGE).wait_connected()
    finally:
        machine.no_drop_in(UNIT)
        machine.run("systemctl", "stop", UNIT)
    equal(machine.show(UNIT, "Result"), "success", "how it ended")
    check(not os.path.exists(machine.reached + "/run/subslabd"), "the folder of the socket is left over")
    machine.write("/etc/subslabd/subslabd.yaml", settings("subslabd", broker.port))


@suite.test
def four_shards_of_the_template_are_apart(_place):
    for i, shard in enumerate(SHARDS):
        machine.write(f"/etc/subslabd/{shard}.yaml", settings(
            f"subslabd-{shard}", broker.port, f"{shard}/", [f"subslab/{shard}-1/#"], PAGE + 1 + i))
        machine.write(f"/etc/subslabd/{shard}/{shard}-1.yaml",
                      json.dumps(system(f"{shard}-1", [point("suction")])))
        machine.run("chgrp", "subslabd", f"/etc/subslabd/{shard}")
        machine.run("subslabctl", "--settings", f"/etc/subslabd/{shard}.yaml", "check")
    machine.run("systemctl", "enable", "--now", *(f"subslabd@{shard}" for shard in SHARDS))
    daemons = {shard: Served(f"subslabd-{shard}", PAGE + 1 + i) for i, shard in enumerate(SHARDS)}
    for daemon in daemons.values():
        daemon.wait_connected()
    broker.publish([(f"subslab/{shard}-1/suction", timed(50 + i, now_ms()))
                    for i, shard in enumerate(SHARDS)])
    for i, (shard, daemon) in enumerate(daemons.items()):
        wait_until(lambda one=daemon, name=shard: one.readings(f"{name}-1", "suction"), 20,
                   f"the reading of {shard}")
        equal([v for _, v in daemon.readings(f"{shard}-1", "suction")], [50 + i], f"readings of {shard}")
        equal(daemon.get("/api/unclaimed"), [], f"topics at {shard} that are not its own")
        equal(machine.run("stat", "-c", "%U:%G %a", f"/var/lib/subslabd-{shard}"),
              "subslabd:subslabd 750", "state folder")
        wait_until(lambda name=shard: (f"{name}-1", "raised", "suction-low")
                   in notices(hook, f"/subslabd-{name}"), 20, f"the message of {shard}")
        out = machine.run("subslabctl", "--settings", f"/etc/subslabd/{shard}.yaml", "systems")
        equal([name for name in SHARDS if f"{name}-1" in out], [shard], "systems by subslabctl")


@suite.test
def a_shard_cannot_write_to_another(_place):
    """A settings file that still names the store of another shard is refused at the start."""
    text = settings("subslabd-fifth", broker.port, "north/", ["subslab/fifth/#"], PAGE + 9)
    machine.write("/etc/subslabd/fifth.yaml",
                  text.replace("/var/lib/subslabd-fifth/", "/var/lib/subslabd-north/"))
    machine.run("systemctl", "start", "subslabd@fifth", ok=None)
    check(machine.show("subslabd@fifth", "ActiveState") != "active", "it runs with the store of north")
    check("/var/lib/subslabd-north/subslab.db" in machine.journal("subslabd@fifth"),
          f"the journal does not name the store: {machine.journal('subslabd@fifth')[-600:]}")
    machine.run("systemctl", "stop", "subslabd@fifth", ok=None)
    equal(machine.show("subslabd@north", "ActiveState"), "active", "north")


@suite.test
def an_upgrade_restarts_what_runs_and_nothing_else(_place):
    units = [f"subslabd@{shard}.service" for shard in SHARDS]
    before = {unit: machine.main_pid(unit) for unit in units}
    machine.run("dpkg", "--force-confdef", "--force-confold", "-i", "/packages/later.deb")
    for unit in units:
        wait_active(unit)
        check(machine.main_pid(unit) not in (0, before[unit]), f"{unit} was not restarted")
    equal(machine.show(UNIT, "ActiveState"), "inactive", "the one that did not run")
    wait_until(lambda: Served("subslabd-north", PAGE + 1).readings("north-1", "suction"), 20,
               "the readings of before")
    check("north-1" in machine.run(*OPERATOR, "subslabctl", "--settings", "/etc/subslabd/north.yaml", "systems"),
          "an operator reaches a shard whose settings are not the operator's to read")
    machine.run("systemctl", "stop", *units)


# ---- the sandbox ----------------------------------------------------------------------------------

def probe_unit(name, lines, probe):
    os.makedirs(f"{machine.reached}/run/systemd/system", exist_ok=True)
    write_file(f"{machine.reached}/run/systemd/system/{name}.service", "\n".join(
        ["[Unit]", "DefaultDependencies=no", "[Service]", "Type=oneshot", "RemainAfterExit=yes",
         f"ExecStart=/packages/probe {probe}", *lines, ""]), 0o644)


def whole_unit(unit):
    """Its lines without those about how it is started and watched."""
    return [line for line in lines_of_service(unit) if not re.match(
        r"(Type|NotifyAccess|ExecStart|ExecReload|WatchdogSec|Timeout\w+|Restart\w*)=", line)]


def run_probes(units):
    """{unit: could, refused or why it was not tried}"""
    machine.run("systemctl", "daemon-reload")
    found = {}
    for name in units:
        machine.run("systemctl", "start", name, ok=None)
        code, status = (int(machine.show(name, f"ExecMain{key}")) for key in ("Code", "Status"))
        # CLD_EXITED is 1; one that was killed for what it tried was refused it.
        found[name] = (COULD if (code, status) == (1, 0) else REFUSED if code != 1 or status == 10
                       else f"status {status}")
    return found


@suite.test
def each_line_of_the_sandbox_forbids_what_it_is_there_for(place):
    unit_lines = whole_unit(UNIT)
    probe = os.path.join(place.new_folder("probe"), "probe")
    subprocess.run(["cc", "-std=c17", "-static", "-o", probe, os.path.join(HERE, "probe.c")], check=True)
    os.chmod(shutil.copy(probe, machine.path("/packages/probe")), 0o755)
    for folder in ("/home", "/tmp", "/usr/lib/modules"):
        os.makedirs(machine.reached + folder, exist_ok=True)
        write_file(f"{machine.reached}{folder}/mark", "", 0o644)
    os.mknod(machine.reached + "/dev/mark", 0o666 | 0o020000, os.makedev(1, 3))
    machine.run("/packages/probe", "make-shared-memory")
    units = {}
    for i, (line, name) in enumerate(PROBED.items()):
        check(line in unit_lines, f"{line} is not in the unit")
        account = ["User=subslabd"] if line in AS_ACCOUNT else []
        for kind, lines in (("bare", account), ("alone", account + [line]), ("whole", unit_lines)):
            units[f"probe-{kind}-{i}"] = (kind, line, name)
            probe_unit(f"probe-{kind}-{i}", lines, name)
    found, wrong, tried, left_out = run_probes(units), [], 0, []
    for i, (line, name) in enumerate(PROBED.items()):
        bare, alone, whole = (found[f"probe-{kind}-{i}"] for kind in ("bare", "alone", "whole"))
        if bare != COULD or alone.startswith("status"):
            left_out.append(f"{line} ({name}: {bare} without it, {alone} with it)")
        else:
            tried += 1
            if alone != REFUSED:
                wrong.append(f"{line} does not keep it from {name}")
        if whole != REFUSED:
            wrong.append(f"the whole unit lets it {name}: {whole}")
    # As the unit says, a call that is not allowed fails; the process is not killed.
    place_of_mount = f"probe-whole-{list(PROBED.values()).index('call-mount')}"
    equal((machine.show(place_of_mount, "ExecMainCode"), machine.show(place_of_mount, "ExecMainStatus")),
          ("1", "10"), "SystemCallErrorNumber=EPERM")
    machine.run("systemctl", "stop", *units)
    for text in left_out:
        print(f"        not tried here: {text}")
    print(f"        {tried} lines tried of {len(PROBED)}, each without, alone and in the whole unit")
    check(not wrong, "; ".join(wrong))
    check(tried >= 20, f"only {tried} lines could be tried: {'; '.join(left_out)}")


@suite.test
def shared_memory_of_the_account_goes_with_the_unit(_place):
    machine.run("ipcrm", "-M", "0x5ab51ab", ok=None)
    left = {}
    for name, lines in (("probe-ipc-kept", []), ("probe-ipc-removed", ["RemoveIPC=yes"])):
        probe_unit(name, ["User=subslabd", *lines], "make-shared-memory")
        machine.run("systemctl", "daemon-reload")
        machine.run("systemctl", "start", name)
        machine.run("systemctl", "stop", name)
        left[name] = "05ab51ab" in machine.run("ipcs", "-m").lower()
        machine.run("ipcrm", "-M", "0x5ab51ab", ok=None)
    equal(left, {"probe-ipc-kept": True, "probe-ipc-removed": False}, "what is left")
    check("RemoveIPC=yes" in lines_of_service(UNIT), "the unit lacks it")


@suite.test
def every_line_of_the_units_is_tried(_place):
    known = {**PROBED, **SHOWN, **IN_PROC}
    strangers = [line for line in lines_of_service(UNIT)
                 if line not in known and not TRIED_BELOW.match(line)]
    check(not strangers, f"nothing here tries {strangers}")
    differ = re.compile(r"(ExecStart|StateDirectory|RuntimeDirectory)=")
    one, several = ([line.replace("/run/subslabd-%i/", "/run/subslabd/") for line in lines_of_service(unit) if not differ.match(line)]
                    for unit in (UNIT, TEMPLATE))
    equal(several, one, "lines of the template, compared with the unit")


# ---- the end --------------------------------------------------------------------------------------

@suite.test
def removing_stops_and_purging_leaves_nothing(_place):
    machine.run("systemctl", "start", UNIT, "subslabd@north")
    pids = [machine.main_pid(unit) for unit in (UNIT, "subslabd@north")]
    machine.run("dpkg", "-r", "subslabd")
    for pid in pids:
        check(not os.path.exists(f"{machine.reached}/proc/{pid}"), "a daemon still runs")
    check(os.path.exists(machine.path("/var/lib/subslabd-north/subslab.db")), "the store is gone")
    machine.run("dpkg", "-P", "subslabd")
    left = [path for path in ("/etc/subslabd", *(f"/var/lib/subslabd-{shard}" for shard in SHARDS),
                              "/var/lib/subslabd", "/etc/systemd/system/multi-user.target.wants")
            if os.path.exists(machine.path(path)) and
            (not path.endswith(".wants") or any("subslabd" in one for one in os.listdir(machine.path(path))))]
    check(not left, f"left over: {left}")


def main():
    global broker, hook  # pylint: disable=global-statement
    try:
        machine.boot()
    except Failure as failure:
        print(f"not tried: the units under a real service manager: {failure}")
        print("0 passed, 0 failed")
        machine.end()
        return
    try:
        broker, hook = ours.broker(), ours.endpoint()
        suite.run()
    finally:
        ours.end(False)
        machine.end()


if __name__ == "__main__":
    main()
