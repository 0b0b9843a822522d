#!/usr/bin/env python3
"""What README, DEVELOPERS, the manual pages and the examples say, against what the programs take:
every command, option, file, setting, quantity and condition that a document names exists, and each
that exists is named where people look for it. The lists come from the programs' own messages. Each
check is tried on a copy with a fault in it first. Environment: SUBSLAB_BUILD."""
import glob
import os
import re
import subprocess
import sys
import tempfile

TOOL = os.path.join(os.environ.get("SUBSLAB_BUILD", "build-check"), "subslabctl")
FILES = ["README.md", "DEVELOPERS.md", "daemon/man/subslabctl.1", "daemon/man/subslabd.8", "daemon/man/subslabd.yaml.5",
         "config/subslabd.yaml", "config/systems/example.yaml", "config/commissioning-example.yaml"]


def tool(*arguments):
    done = subprocess.run([TOOL, *arguments], text=True, capture_output=True, timeout=60)
    return done.stdout + done.stderr


class Program:
    """What the programs take, asked of themselves."""

    def __init__(self):
        self.options = {name: set(re.findall(r"--[a-z][a-z-]*", tool(name, "--help").split("\n")[0]))
                        for name in re.findall(r"^  ([a-z][a-z-]*)  ", tool("--help"), re.M)}
        with tempfile.TemporaryDirectory() as folder:
            os.mkdir(folder + "/systems")
            path = folder + "/s.yaml"
            self.conditions = self.listed(path, "conditions: {no-such: {}}", "Known conditions: ")
            self.settings = self.listed(path, "no_such: 1", "Known keys: ")
            self.contact = self.listed(path, "contacts: [{id: a, no_such: 1}]", "Known keys: ")
            self.broker = self.listed(path, "broker: {no_such: 1}", "Known keys: ")
            start = "id: a\npoints:\n  - "
            system = folder + "/systems/a.yaml"
            self.quantities = self.listed(system, start + "{id: p, quantity: none}", "allowed: ")
            self.point = self.listed(system, start + "{id: p, no_such: 1}", "Known keys: ")
            self.system = self.listed(system, "no_such: 1\n" + start + "{}", "Known keys: ")

    @staticmethod
    def listed(path, text, before):
        with open(path, "w") as file:
            file.write(text + "\n")
        said = tool("check", path) if "/systems/" in path else tool("--settings", path, "check")
        os.remove(path)
        line = next((one for one in said.splitlines() if before in one), "")
        words = re.findall(r"[a-z][a-z0-9_-]*", line.split(before)[-1])
        assert len(words) >= 5, f"no list after {before!r} in: {said}"
        return words


def plain(text):
    """A manual page's own escapes away."""
    return text.replace("\\-", "-").replace("\\(aq", "'").replace("\\fB", "").replace("\\fR", "")


def read(folder="."):
    texts = {}
    for name in FILES:
        with open(os.path.join(folder, name), encoding="utf-8") as file:
            texts[name] = plain(file.read())
    return texts


def code_of(text):
    """Blocks and `words` of Markdown."""
    for language, block in re.findall(r"^```(\w*)\n(.*?)^```", text, re.M | re.S):
        yield language, block
    for word in re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.M | re.S)):
        yield "", word


# ---- checks: each yields what is wrong ----

def unknown_commands(texts, program):
    for name in ("README.md", "DEVELOPERS.md"):
        for _, code in code_of(texts[name]):
            for line in code.splitlines():
                for found in re.finditer(r"subslabctl((?: --settings \S+| --json)*) ([a-z][a-z-]*)(.*)",
                                         line):
                    command, rest = found.group(2), found.group(3).split("#")[0]
                    if command not in program.options:
                        yield f"{name}: no command {command}"
                        continue
                    known = program.options[command] | {"--help", "--json", "--settings"}
                    for option in re.findall(r"(?<!\w)--[a-z][a-z-]*", rest):
                        if option not in known:
                            yield f"{name}: {command} has no {option}"


def unknown_options_in_tables(texts, program):
    for row in re.findall(r"^\| (`[a-z].*?) \|", texts["README.md"], re.M):
        for code in re.findall(r"`([^`]+)`", row):
            command = code.split()[0]
            for option in re.findall(r"--[a-z][a-z-]*", code):
                if command in program.options and option not in program.options[command]:
                    yield f"README.md: {command} has no {option}"


def commands_not_told(texts, program):
    for command in program.options:
        if not re.search(rf"`{command}[ `]", texts["README.md"]):
            yield f"README.md does not name the command {command}"


def missing_files(texts, program):
    del program
    for name in ("README.md", "DEVELOPERS.md"):
        for _, code in code_of(texts[name]):
            for path in re.findall(r"(?<![\w/.-])((?:config|tests|lib|daemon|systemd)"
                                   r"/[\w./*-]*[\w*])", code):
                pattern = path.replace("NAME", "*")
                if not glob.glob(pattern) and not glob.glob(pattern + ".[ch]"):
                    yield f"{name}: no file {path}"


def words_missing(texts, words, places, what):
    for word in words:
        for place in places:
            if not re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", texts[place]):
                yield f"{place} does not name the {what} {word}"


def quantities_not_told(texts, program):
    yield from words_missing(texts, program.quantities, ["README.md", "config/systems/example.yaml",
                                                         "daemon/man/subslabd.yaml.5"], "quantity")


def conditions_not_told(texts, program):
    yield from words_missing(texts, program.conditions, ["README.md"], "condition")


def settings_not_told(texts, program):
    for words, place in ((program.settings + program.contact + program.broker,
                          "config/subslabd.yaml"),
                         (program.point + program.system, "config/systems/example.yaml")):
        yield from words_missing(texts, words, [place, "daemon/man/subslabd.yaml.5"], "setting")


def blocks_refused(texts, program):
    """YAML blocks of README: a system file is checked as one, all else as settings."""
    del program
    with tempfile.TemporaryDirectory() as folder:
        os.mkdir(folder + "/systems")
        with open(folder + "/office-secret", "w") as file:
            file.write("whsec_" + "QUJD" * 10 + "\n")
        os.chmod(folder + "/office-secret", 0o600)
        with open(folder + "/s.yaml", "w") as file:
            file.write("units: us\n")
        blocks = [block for language, block in code_of(texts["README.md"]) if language == "yaml"]
        if len(blocks) < 2:
            yield "README.md: its YAML blocks are gone"
        for block in blocks:
            path = folder + ("/systems/a.yaml" if block.startswith("id:") else "/s.yaml")
            with open(path, "w") as file:
                file.write(block)
            done = subprocess.run([TOOL, "--settings", folder + "/s.yaml", "check"], text=True,
                                  capture_output=True, timeout=60)
            if done.returncode != 0:
                yield "README.md: " + done.stderr.strip()


def broken_shell(texts, program):
    """Every shell block is at least shell."""
    del program
    for name in ("README.md", "DEVELOPERS.md"):
        for language, block in code_of(texts[name]):
            if language == "sh":
                done = subprocess.run(["sh", "-n"], input=block, text=True, capture_output=True)
                if done.returncode != 0:
                    yield f"{name}: {done.stderr.strip()}"


def signing_secret_of_the_readme(texts, program):
    """The line that makes a secret makes one that is taken."""
    del program
    line = re.search(r'^echo "whsec_.*$', texts["README.md"], re.M)
    made = subprocess.run(["sh", "-c", line.group(0)], text=True, capture_output=True).stdout \
        if line else ""
    with tempfile.TemporaryDirectory() as folder:
        with open(folder + "/secret", "w") as file:
            file.write(made)
        os.chmod(folder + "/secret", 0o600)
        os.mkdir(folder + "/systems")
        with open(folder + "/systems/a.yaml", "w") as file:
            file.write("id: a\npoints: [{id: p, quantity: suction}]\n")
        with open(folder + "/s.yaml", "w") as file:
            file.write("contacts: [{id: a, role: contractor, webhook: {url: 'https://a.example', "
                       "signing_secret_file: secret}}]\n")
        said = subprocess.run([TOOL, "--settings", folder + "/s.yaml", "check"], text=True,
                              capture_output=True, timeout=60)
        if said.returncode != 0:
            yield "README.md: the secret it makes is refused: " + said.stderr.strip()


# check, and a fault that it must find: file, text there, text put in its place
CHECKS = [
    (unknown_commands, "README.md", "subslabctl test-alert office", "subslabctl tell office"),
    (unknown_commands, "README.md", "--learn 2026-01-05", "--teach 2026-01-05"),
    (unknown_commands, "DEVELOPERS.md", "--commission SYSTEM", "--commissioned SYSTEM"),
    (unknown_options_in_tables, "README.md", "visits --ics FILE", "visits --ical FILE"),
    (commands_not_told, "README.md", "| `unclaimed`, `refused` |", "| `unclaimed` |"),
    (missing_files, "README.md", "config/demo/run.sh", "config/demo/start.sh"),
    (missing_files, "DEVELOPERS.md", "tests/unit/check_rooms.py", "tests/unit/check_room.py"),
    (quantities_not_told, "README.md", "| `water-level` |", "| `level` |"),
    (quantities_not_told, "daemon/man/subslabd.yaml.5", "humidity", "moisture"),
    (conditions_not_told, "README.md", "| `fan-weak` |", "| `weak` |"),
    (settings_not_told, "config/subslabd.yaml", "at_most_every", "seldom"),
    (settings_not_told, "daemon/man/subslabd.yaml.5", "senml_name", "senml"),
    (blocks_refused, "README.md", "time_zone: America/Denver", "timezone: America/Denver"),
    (blocks_refused, "README.md", "remind_every: 24 h", "remind_every: often"),
    (broken_shell, "README.md", 'echo "whsec_', "echo 'whsec_"),
    (signing_secret_of_the_readme, "README.md", "rand -base64 32", "rand -base64 8"),
]


def main():
    passed, failed = 0, 0
    program, texts = Program(), read()
    for check in dict.fromkeys(row[0] for row in CHECKS):
        wrong = list(check(texts, program))
        for one in wrong:
            print(f"FAILED {check.__name__}: {one}")
        passed, failed = passed + (not wrong), failed + bool(wrong)
    for check, name, there, fault in CHECKS:
        damaged = dict(texts)
        damaged[name] = texts[name].replace(there, fault)
        found = damaged[name] != texts[name] and \
            len(list(check(damaged, program))) > len(list(check(texts, program)))
        if not found:
            print(f"FAILED {check.__name__}: {fault!r} in {name} was not found")
        passed, failed = passed + found, failed + (not found)
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
