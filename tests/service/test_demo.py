"""The demonstration as a person starts it: `config/demo/run.sh --check` ends with 0, and neither it
nor one that is interrupted leaves a process or a folder behind.

SUBSLAB_DEMO_BUILD names the build folder (default: build/ when it holds the programs, which are the
release ones, else SUBSLAB_BUILD)."""

import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

TOP = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
passed = failed = 0


def check(what, good, details=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print(f"FAILED {what}\n{details}")


def build_folder():
    given = os.environ.get("SUBSLAB_DEMO_BUILD")
    release = os.path.join(TOP, "build")
    if given:
        return given
    if all(os.path.exists(os.path.join(release, name)) for name in ("subslabd", "subslabctl")):
        return release
    return os.environ.get("SUBSLAB_BUILD", release)


def processes_naming(text):
    """Processes with `text` in their command line or among their open files' folder."""
    found = []
    for pid in filter(str.isdigit, os.listdir("/proc")):
        try:
            with open(f"/proc/{pid}/cmdline", "rb") as file:
                line = file.read().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            continue
        if text in line and int(pid) != os.getpid():
            found.append(f"{pid} {line}")
    return found


class Run:
    """One demonstration with a TMPDIR of its own, so that whatever it leaves is found."""

    def __init__(self, *arguments):
        self.folder = tempfile.mkdtemp(prefix="demo-test-")
        self.log = open(os.path.join(self.folder, "output"), "w+")
        scratch = os.path.join(self.folder, "tmp")
        os.mkdir(scratch)
        # The broker leaves root's rights behind and must still reach its folder.
        os.chmod(self.folder, 0o711)
        os.chmod(scratch, 0o711)
        environment = dict(os.environ, SUBSLAB_BUILD=build_folder(), TMPDIR=scratch)
        self.scratch = scratch
        self.process = subprocess.Popen(
            ["sh", os.path.join(TOP, "config/demo/run.sh"), *arguments], stdin=subprocess.DEVNULL,
            stdout=self.log, stderr=self.log, env=environment)

    def output(self):
        self.log.flush()
        with open(self.log.name) as file:
            return file.read()

    def wait(self, seconds):
        try:
            return self.process.wait(seconds)
        except subprocess.TimeoutExpired:
            self.process.kill()
            return "still running"

    def left_behind(self):
        time.sleep(0.2)
        return os.listdir(self.scratch) + processes_naming(self.scratch)

    def close(self):
        self.log.close()
        shutil.rmtree(self.folder, ignore_errors=True)


def test_check():
    run = Run("--check")
    begin = time.monotonic()
    status = run.wait(200)
    took_s = time.monotonic() - begin
    output = run.output()
    check("--check ends with 0", status == 0, f"status {status}\n{output[-3000:]}")
    check("--check is done within three minutes", took_s < 180, f"{took_s:.0f} s")
    check("its summary is the last line",
          output.rstrip().endswith("All expected messages have arrived."), output[-300:])
    check("it says that all is invented", "invented" in output)
    check("it says that delays are shortened", "shorten" in output)
    check("it says how to enrol the house that is not yet",
          "subslabctl --settings" in output and "enrol --topic 'subslab/juniper-walk-2/#'" in output, output[:3000])
    check("its first lines say so", "not enrolled yet" in output.splitlines()[0] and "enrol --topic" in output.splitlines()[1],
          output[:400])
    check("it shows a household's link", "/share/" in output, output[-3000:])
    check("nothing is left behind", not run.left_behind(), run.left_behind())
    run.close()


def interrupted(what, number, seen):
    run = Run()
    end = time.monotonic() + 120
    while seen not in run.output() and run.process.poll() is None and time.monotonic() < end:
        time.sleep(0.1)
    check(f"{what}: it got so far", seen in run.output(), run.output()[-2000:])
    run.process.send_signal(number)
    status = run.wait(20)
    check(f"{what}: it ends with 0", status == 0, f"status {status}\n{run.output()[-2000:]}")
    check(f"{what}: nothing is left behind", not run.left_behind(), run.left_behind())
    run.close()


def test_wrong_use():
    run = Run("--chekc")
    check("an unknown option is refused", run.wait(10) == 2, run.output())
    check("and the right ones are named", "--check" in run.output(), run.output())
    run.close()


def test_what_may_be_switched_on():
    """The settings in comments are good ones: state to the broker, and a watcher."""
    with open(os.path.join(TOP, "config", "demo", "subslabd.yaml"), encoding="utf-8") as file:
        lines = file.read().splitlines()
    switched = [line[1:] for line in lines if re.match(r"#( {2}|\w)", line)]
    check("what may be switched on is there", {line.split(":")[0].strip() for line in switched} >=
          {"state_topic", "heartbeat"}, switched)
    check("with the line for the broker's access list", "topic write subslab-state/#" in "\n".join(lines))
    text = "\n".join(line[1:] if line[1:] in switched else line for line in lines)
    for mark, value in (("BROKER_PORT", "1883"), ("PAGE_PORT", "0"), ("ENDPOINT", "http://127.0.0.1:8000"),
                        ("OWNERS", "")):
        text = text.replace(f"@{mark}@", value)
    with tempfile.TemporaryDirectory() as folder:
        for name in ("systems", "fans"):
            os.mkdir(os.path.join(folder, name))
        for name, content in (("subslabd.yaml", text), ("office-secret", "whsec_" + "MDEy" * 8),
                              ("accounts", "a:$y$j9T$b$c")):
            descriptor = os.open(os.path.join(folder, name), os.O_CREAT | os.O_WRONLY, 0o600)
            with open(descriptor, "w", encoding="utf-8") as file:
                file.write(content + "\n")
        done = subprocess.run([os.path.join(build_folder(), "subslabctl"), "--settings",
                               os.path.join(folder, "subslabd.yaml"), "check"], capture_output=True, text=True,
                              timeout=30, check=False)
    check("and they are good", done.returncode == 0, done.stdout + done.stderr)


def main():
    test_wrong_use()
    test_what_may_be_switched_on()
    interrupted("interrupted while history is made", signal.SIGINT, "0 of 12 systems")
    interrupted("ended while live readings come", signal.SIGTERM, "Ctrl-C ends everything")
    test_check()
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
