#!/usr/bin/env python3
"""Does subslabd live with what its unit leaves it?

A typical life (start, readings, an alarm to a webhook, every page, a backup, SIGHUP, SIGTERM) runs
twice. Under strace(1): each system call must be within SystemCallFilter= of the unit, as
`systemd-analyze syscall-filter` expands it, each socket within RestrictAddressFamilies=, no memory
be writable and executable, and nothing be written outside its own folders. Then with that filter in
force. What the filter means is in systemd.exec(5).

Wants a build without sanitizers, which make system calls of their own.
"""
import base64
import os
import re
import shutil
import signal
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "..", "support"))
# pylint: disable=wrong-import-position
import daemon_process  # noqa: E402
from harness import (BUILD, LOW_AT_ONCE, PATIENCE, SANITIZED, SOURCE, Suite, check,  # noqa: E402
                     contact, equal, now_ms, point, system, timed, wait_until,
                     write_file)

suite = Suite()
UNITS = [os.path.join(SOURCE, "systemd", name) for name in ("subslabd.service", "subslabd@.service")]
NOBODY = "65534"
# Without these it would not have been a typical life.
LIVED = {"accept4", "bind", "connect", "fdatasync", "listen", "openat", "poll", "pwrite64", "recvfrom",
         "sendmsg", "sendto", "socket", "unlink"}
# Never to be allowed; whoever finds one here has expanded the filter wrongly.
NEVER = {"bpf", "chown", "chroot", "init_module", "mount", "ptrace", "reboot", "setuid", "setrlimit"}


def unit_values(unit, key):
    with open(unit, encoding="utf-8") as file:
        return [line.split("=", 1)[1].split() for line in file if line.startswith(key + "=")]


def group(name, seen=()):
    """The system calls of a name or of a @group of systemd."""
    if not name.startswith("@"):
        return {name}
    check(name not in seen, f"{name} holds itself")
    text = subprocess.run(["systemd-analyze", "--no-pager", "syscall-filter", name], check=True,
                          capture_output=True, text=True).stdout
    members = [line.split("#")[0].strip() for line in text.splitlines()[1:]]
    return set().union(*(group(one, (*seen, name)) for one in members if one))


def allowed_calls(unit):
    """As systemd.exec(5) says: the first line is a list of what is allowed, to which @default and
    execve belong; a later line with ~ takes away."""
    lines = unit_values(unit, "SystemCallFilter")
    check(lines and not lines[0][0].startswith("~"), "the first filter is no list of what is allowed")
    allowed = group("@default") | {"execve"}
    for words in lines:
        takes_away = words[0].startswith("~")
        for word in words:
            calls = group(word.lstrip("~"))
            allowed = allowed - calls if takes_away else allowed | calls
    return allowed


def typical_life(place, prefix):
    """Its daemon, ended."""
    check(not SANITIZED, "this build has sanitizers; set SUBSLAB_BUILD to one that has not")
    os.chmod(place.folder, 0o755)
    # Where the account can read it, wherever the build is.
    daemon_process.BUILD = place.new_folder("programs")
    for program in ("subslabd", "subslabctl"):
        os.chmod(shutil.copy(os.path.join(BUILD, program), daemon_process.BUILD), 0o755)
    broker, hook = place.broker(), place.endpoint()
    daemon = place.daemon(broker, [system("mill", [point("suction")])],
                          [contact("office", hook, signing_secret_file="secret")],
                          prefix=prefix, conditions=LOW_AT_ONCE)
    daemon.secret("secret", "whsec_" + base64.b64encode(bytes(32)).decode())
    if os.geteuid() == 0:
        # As the unit does; root would make calls that the account does not.
        daemon.prefix = ["setpriv", "--reuid", NOBODY, "--regid", NOBODY, "--clear-groups",
                         "--inh-caps=-all", "--"] + daemon.prefix
        subprocess.run(["chown", "-R", NOBODY, daemon.folder], check=True)
    umask = os.umask(0)  # it reports READY to a socket of ours
    try:
        daemon.spawn()
    finally:
        os.umask(umask)
    wait_until(daemon.is_ready, 30, "READY of the daemon")
    daemon.wait_connected()
    broker.publish([("subslab/mill/suction", timed(150, now_ms() - 60_000)),
                    ("subslab/mill/suction", "no number"), ("subslab/nobody/knows", "1")])
    broker.publish([("subslab/mill/suction", timed(50, now_ms() - 1000))])
    hook.wait_for(1, 20 * PATIENCE)
    for path in ("/", "/systems/mill", "/systems/mill/record", "/alarms", "/visits", "/visits.ics",
                 "/metrics", "/health", "/api/systems", "/api/alarms"):
        equal(daemon.request("GET", path, page=True).status, 200, path)
    tool = [os.path.join(BUILD, "subslabctl"), "--settings", daemon.settings_file]
    for words in (["record", "mill", "suction", "140 Pa", "--by", "the installer"], ["verify"],
                  ["backup", os.path.join(daemon.folder, "copy.db")]):
        done = subprocess.run(tool + words, capture_output=True, text=True, timeout=60, check=False)
        equal(done.returncode, 0, f"{words[0]}: {done.stderr}")
    daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: "settings: read again" in daemon.log(), 10, "the settings read again")
    equal(daemon.health()[0], 200, "health after SIGHUP")
    equal(daemon.stop(), 0, "exit status")
    return daemon


def calls_of(trace):
    """[(name, the rest of the line)]"""
    with open(trace, encoding="utf-8", errors="replace") as file:
        found = (re.match(r"\d+ +(?:<\.\.\. )?([a-z]\w*)(?:\(| resumed>)(.*)", line) for line in file)
        return [(one[1], one[2]) for one in found if one]


@suite.test
def every_system_call_is_within_the_units_filter(place):
    trace = os.path.join(place.new_folder("trace"), "calls")
    os.chmod(os.path.dirname(trace), 0o777)
    daemon = typical_life(place, ["strace", "-D", "-f", "-qq", "-s", "256", "-o", trace])
    wait_until(lambda: "exit_group" in {name for name, _ in calls_of(trace)[-50:]}, 10,
               "the end of the trace")
    calls = calls_of(trace)
    names = {name for name, _ in calls}
    check(LIVED <= names, f"this life was not typical: no {' '.join(sorted(LIVED - names))}")
    for unit in UNITS:
        allowed = allowed_calls(unit)
        check(not NEVER & allowed, f"the filter allows {' '.join(sorted(NEVER & allowed))}")
        check(names <= allowed, f"{os.path.basename(unit)} forbids {' '.join(sorted(names - allowed))}")
        families = set(*unit_values(unit, "RestrictAddressFamilies"))
        used = {match[1] for name, rest in calls if name in ("socket", "socketpair")
                for match in [re.match(r"(AF_\w+)", rest)] if match}
        check({"AF_INET", "AF_UNIX"} <= used <= families, f"address families {used}")
    both = [rest for name, rest in calls if name in ("mmap", "mprotect", "pkey_mprotect")
            and "PROT_WRITE" in rest and "PROT_EXEC" in rest]
    check(not both, f"memory that is writable and executable: {both[:1]}")
    written = [match[1] for name, rest in calls if name in ("openat", "open", "creat")
               for match in [re.match(r'(?:\w+, )?"([^"]*)", [^)]*O_(?:WRONLY|RDWR|CREAT)', rest)]
               if match]
    check(any(path.startswith(daemon.store) for path in written), "it wrote no store")
    elsewhere = [path for path in written
                 if not path.startswith((daemon.folder, "/dev/null", "/var/tmp/"))]
    check(not elsewhere, f"written outside its own folders: {elsewhere[:5]}")
    print(f"    {len(calls)} calls of {len(names)} kinds, {len(allowed_calls(UNITS[0]))} allowed")


@suite.test
def it_lives_with_the_filter_in_force(place):
    folder = place.new_folder("filter")
    names = os.path.join(folder, "allowed")
    write_file(names, "\n".join(sorted(allowed_calls(UNITS[0]))), 0o644)
    launcher = os.path.join(folder, "under_filter.py")
    shutil.copy(os.path.join(HERE, "under_filter.py"), launcher)
    os.chmod(folder, 0o755)
    filtered = ["python3", launcher, names]
    mine = write_file(os.path.join(folder, "mine"), "")
    done = subprocess.run(filtered + ["chown", str(os.geteuid()), mine], capture_output=True,
                          text=True, check=False)
    check(done.returncode != 0 and "not permitted" in done.stderr,
          f"the filter let chown through: {done.stderr}")
    done = subprocess.run(filtered + ["touch", mine], capture_output=True, text=True, check=False)
    equal(done.returncode, 0, f"the filter stops what is allowed: {done.stderr}")
    daemon = typical_life(place, filtered)
    check("not permitted" not in daemon.log(), f"something was refused: {daemon.log()[-600:]}")


suite.run()
