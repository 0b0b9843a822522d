"""machine: a Debian in a folder, booted with its own systemd as process 1 (boot_root.sh)."""
import contextlib
import os
import shutil
import signal
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "..", "support"))
# pylint: disable=wrong-import-position
from harness import check, wait_until, write_file  # noqa: E402


class Machine:
    """The booted Debian."""

    def __init__(self, root):
        self.root, self.process, self.pid = root, None, None

    def boot(self):
        # The stand-in of installed.sh would answer instead of systemd.
        with contextlib.suppress(FileNotFoundError):
            os.remove(self.path("/usr/local/bin/systemctl"))
        self.log = open(os.path.join(self.root, "packages", "boot.log"), "w+", encoding="utf-8")
        self.process = subprocess.Popen(
            ["unshare", "--mount", "sh", os.path.join(HERE, "boot_root.sh"), self.root],
            stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log)
        wait_until(self._find, 15, "systemd as process 1")
        wait_until(lambda: self.run("systemctl", "is-system-running", ok=None) in ("running", "degraded"),
                   30, "the end of booting")
        self.reached = f"/proc/{self.pid}/root"

    def _find(self):
        check(self.process.poll() is None, f"it did not boot: {self.said()}")
        below = [self.process.pid]
        while below:
            found = subprocess.run(["ps", "-o", "pid=,comm=", "--ppid", ",".join(map(str, below))],
                                   capture_output=True, text=True, check=False).stdout.split()
            for pid, name in zip(found[::2], found[1::2]):
                if name == "systemd":
                    self.pid = int(pid)
                    return True
            below = found[::2]
        return False

    def said(self):
        self.log.seek(0)
        return self.log.read()[-1500:]

    def end(self):
        if self.pid:
            os.kill(self.pid, signal.SIGKILL)
            self.process.wait(20)

    def path(self, inside):
        return self.root + inside

    def run(self, *command, ok=True):
        """Its output; ok=None: whatever the exit status."""
        done = subprocess.run(["nsenter", "-t", str(self.pid), "-m", "-u", "-i", "-p", "-C", *command],
                              stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120,
                              check=False)
        if ok is not None:
            check((done.returncode == 0) == ok,
                  f"{' '.join(command)}: status {done.returncode} {done.stdout[-800:]}{done.stderr[-800:]}")
        return done.stdout.strip()

    def show(self, unit, name):
        return self.run("systemctl", "show", "-P", name, unit)

    def journal(self, unit):
        return self.run("journalctl", "--no-pager", "-o", "cat", "-u", unit)

    def main_pid(self, unit):
        """The daemon's number as the booted system counts."""
        return int(self.show(unit, "MainPID"))

    def write(self, inside, text, mode=0o640, group="subslabd"):
        os.makedirs(os.path.dirname(self.path(inside)), exist_ok=True)
        write_file(self.path(inside), text, mode)
        self.run("chgrp", group, inside)

    def drop_in(self, unit, text):
        self.write(f"/etc/systemd/system/{unit}.d/test.conf", f"[Service]\n{text}\n", 0o644, "root")
        self.run("systemctl", "daemon-reload")

    def no_drop_in(self, unit):
        shutil.rmtree(self.path(f"/etc/systemd/system/{unit}.d"))
        self.run("systemctl", "daemon-reload")
