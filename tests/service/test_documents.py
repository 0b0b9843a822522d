#!/usr/bin/env python3
"""What README and the pages beside it, DEVELOPERS, the manual pages and the examples say, against what
the programs take: every command, option, file, setting, quantity and condition that a document names
exists, and each that exists is named where people look for it. README is short and cautions come early;
each measured figure has the command that writes it. The lists come from the programs' own messages. Each
check is tried on a copy with a fault in it. Environment: SUBSLAB_BUILD."""
import base64
import glob
import hashlib
import hmac
import os
import re
import subprocess
import sys
import tempfile
import time

TOOL = os.path.join(os.environ.get("SUBSLAB_BUILD", "build-check"), "subslabctl")
FIGURES, SETTINGS_PAGE = "tests/bench/FIGURES.md", "daemon/man/subslabd.yaml.5"
TOOL_PAGE = "daemon/man/subslabctl.1"
MARKDOWN = ["README.md", "DEVELOPERS.md", "systemd/INSTALL.md", "systemd/BROKER.md", "systemd/SCALE.md",
            "systemd/PROXY.md", "systemd/SENDERS.md", "systemd/prometheus/README.md", "systemd/container/README.md", FIGURES]
FILES = [*MARKDOWN, TOOL_PAGE, "daemon/man/subslabd.8", SETTINGS_PAGE,
         "config/subslabd.yaml", "config/systems/example.yaml", "config/commissioning-example.yaml"]
README_LINES, CAUTIONS_BY_LINE = 300, 50
CAUTIONS = ["Local codes", "back-draft test", "licensed electrician", "outlets", "long-term risk", "not an emergency"]


def tool(*arguments):
    done = subprocess.run([TOOL, *arguments], text=True, capture_output=True, timeout=60)
    return done.stdout + done.stderr


class Program:
    """What the programs take, asked of themselves."""

    def __init__(self):
        self.usages = {name: tool(name, "--help").split("\n")[0].removeprefix("usage: subslabctl ")
                       for name in re.findall(r"^  ([a-z][a-z-]*)  ", tool("--help"), re.M)}
        self.options = {name: set(re.findall(r"--[a-z][a-z-]*", usage))
                        for name, usage in self.usages.items()}
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
    for name in MARKDOWN:
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


def ways_of(usage):
    """The ways to use a command, one for each | outside of brackets, each beginning with its name."""
    usage = usage.replace("…", "...").replace(" [--json]", "").strip()
    name, depth, ways = usage.split()[0], 0, [""]
    for letter in usage:
        depth += {"[": 1, "]": -1}.get(letter, 0)
        if letter == "|" and depth == 0:
            ways.append("")
        else:
            ways[-1] += letter
    ways = [way.strip() for way in ways]
    return {way if way.split()[0] == name else f"{name} {way}" for way in ways}


def tags_of_the_manual(text):
    """The tags (.TP) of a manual page as they read, without fonts."""
    for macro, line in re.findall(r"^\.TP\n\.([BIR]+) (.*)$", text, re.M):
        words = re.findall(r'"((?:[^"]|"")*)"|(\S+)', line)
        joined = (" " if len(macro) == 1 else "").join(quoted or bare for quoted, bare in words)
        yield re.sub(r"\\f[BIRP]", "", joined)


def usages_told_otherwise(texts, program):
    """The manual says of each command what its help says: both are the one table of commands."""
    told = {}
    for tag in tags_of_the_manual(texts[TOOL_PAGE]):
        if tag.split()[0] in program.usages:
            told.setdefault(tag.split()[0], set()).update(ways_of(tag))
    for name, usage in program.usages.items():
        if told.get(name) != ways_of(usage):
            yield f"{TOOL_PAGE}: {sorted(told.get(name, []))} instead of {sorted(ways_of(usage))}"


def missing_files(texts, program):
    del program
    for name in MARKDOWN:
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
                                                         SETTINGS_PAGE], "quantity")


def conditions_not_told(texts, program):
    yield from words_missing(texts, program.conditions, ["README.md"], "condition")


def settings_not_told(texts, program):
    for words, place in ((program.settings + program.contact + program.broker,
                          "config/subslabd.yaml"),
                         (program.point + program.system, "config/systems/example.yaml")):
        yield from words_missing(texts, words, [place, SETTINGS_PAGE], "setting")


def blocks_refused(texts, program):
    """YAML blocks of README and of the broker's page: a system file is checked as one, all else as settings."""
    del program
    with tempfile.TemporaryDirectory() as folder:
        os.mkdir(folder + "/systems")
        for secret in ("office-secret", "broker-password"):
            with open(f"{folder}/{secret}", "w") as file:
                file.write("whsec_" + "QUJD" * 10 + "\n")
            os.chmod(f"{folder}/{secret}", 0o600)
        with open(folder + "/s.yaml", "w") as file:
            file.write("units: us\n")
        for name, least in (("README.md", 2), ("systemd/BROKER.md", 1)):
            blocks = [block for language, block in code_of(texts[name]) if language == "yaml"]
            if len(blocks) < least:
                yield f"{name}: its YAML blocks are gone"
            for block in blocks:
                path = folder + ("/systems/a.yaml" if block.startswith("id:") else "/s.yaml")
                with open(path, "w") as file:
                    file.write(block)
                done = subprocess.run([TOOL, "--settings", folder + "/s.yaml", "check"], text=True,
                                      capture_output=True, timeout=60)
                if done.returncode != 0:
                    yield f"{name}: {done.stderr.strip()}"


def broken_shell(texts, program):
    """Every shell block is at least shell."""
    del program
    for name in MARKDOWN:
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


def verifier_of_the_manual(texts, program):
    """The Python of the manual page knows a genuine message from others; signed here by the rules."""
    del program
    code = re.search(r"^\.nf\n(import base64.*?)^\.fi", texts[SETTINGS_PAGE], re.M | re.S)
    names = {}
    exec(code.group(1) if code else "", names)  # pylint: disable=exec-used
    key, body = bytes(range(32)), b'{"a": 1}'
    secret = "whsec_" + base64.b64encode(key).decode()

    def accepted(at, sent=body):
        stamp = str(int(at))
        mac = hmac.new(key, b"msg_1." + stamp.encode() + b"." + body, hashlib.sha256).digest()
        headers = {"webhook-id": "msg_1", "webhook-timestamp": stamp,
                   "webhook-signature": "v1,AAAA v1," + base64.b64encode(mac).decode()}
        return names["is_genuine"](secret + "\n", headers, sent)

    if "is_genuine" not in names:
        yield f"{SETTINGS_PAGE}: its verifier is gone"
        return
    for what, said, right in (("a genuine one", accepted(time.time()), True),
                              ("another body", accepted(time.time(), b'{"a": 2}'), False),
                              ("one of last year", accepted(time.time() - 3e7), False)):
        if said is not right:
            yield f"{SETTINGS_PAGE}: the verifier says {said} of {what}"


def dead_links(texts, program):
    del program
    for name in MARKDOWN:
        for target in re.findall(r"\]\(([^)#:]+)\)", texts[name]):
            if not os.path.exists(os.path.join(os.path.dirname(name), target)):
                yield f"{name}: no file {target}"


def readme_is_long(texts, program):
    del program
    lines = texts["README.md"].count("\n")
    if lines > README_LINES:
        yield f"README.md has {lines} lines, {README_LINES} at most"


def cautions_come_late(texts, program):
    del program
    early = " ".join("\n".join(texts["README.md"].splitlines()[:CAUTIONS_BY_LINE]).split())
    for caution in CAUTIONS:
        if caution not in early:
            yield f"README.md: {caution!r} is not in its first {CAUTIONS_BY_LINE} lines"


def figures_without_command(texts, program):
    """The last cell of a row names a program of tests/bench or tests/fleet."""
    del program
    for table in re.findall(r"^\| what \|.*\n\|[-|]+\n((?:\|.*\n)+)", texts[FIGURES], re.M):
        for row in table.splitlines():
            command = re.findall(r"`([^`]+)`", row.rsplit(" | ", 1)[1])
            programs = re.findall(r"(?:bench_\w+|score|year_claims)(?=\.py|\b)", " ".join(command))
            if not programs or not all(glob.glob(f"tests/bench/{one}.*") or glob.glob(f"tests/fleet/{one}.py")
                                       for one in programs):
                yield f"{FIGURES}: no command that writes it: {row[:60]}"


def figures_of_the_readme_elsewhere(texts, program):
    """Each number in README's section of figures stands on the page of figures too."""
    del program
    section = re.search(r"^## How good it is\n(.*?)^## ", texts["README.md"], re.M | re.S)
    numbers = set(re.findall(r"\d+(?: \d{3})*(?:\.\d+)?", section.group(1) if section else ""))
    if len(numbers) < 15:
        yield f"README.md: figures are gone: {sorted(numbers)}"
    for number in numbers:
        if not re.search(rf"(?<![\d.]){re.escape(number)}(?!\.?\d)", texts[FIGURES]):
            yield f"README.md says {number}, which {FIGURES} does not have"


# check, and a fault that it must find: file, text there, text put in its place
CHECKS = [
    (unknown_commands, "README.md", "subslabctl test-alert office", "subslabctl tell office"),
    (unknown_commands, "README.md", "--learn 2026-01-05", "--teach 2026-01-05"),
    (unknown_commands, "DEVELOPERS.md", "--commission SYSTEM", "--commissioned SYSTEM"),
    (unknown_options_in_tables, "README.md", "visits --ics FILE", "visits --ical FILE"),
    (commands_not_told, "README.md", "`unclaimed`, `refused` |", "`unclaimed` |"),
    (usages_told_otherwise, TOOL_PAGE, '.BI restore " FILE"', '.BI restore " FOLDER"'),
    (usages_told_otherwise, TOOL_PAGE, '.BI show " SYSTEM', '.BI display " SYSTEM'),
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
    (unknown_commands, "systemd/SCALE.md", "move SYSTEM --to", "move SYSTEM --onto"),
    (unknown_commands, "systemd/INSTALL.md", "subslabctl systems", "subslabctl houses"),
    (missing_files, FIGURES, "tests/bench/bench_peers.py", "tests/bench/bench_others.py"),
    (blocks_refused, "systemd/BROKER.md", "password_file: broker-password", "password: broker-password"),
    (broken_shell, "systemd/BROKER.md", "-P 'its password'", "-P 'its password"),
    (verifier_of_the_manual, SETTINGS_PAGE, "hashlib.sha256", "hashlib.sha512"),
    (verifier_of_the_manual, SETTINGS_PAGE, "> tolerance_s", "< 0"),
    (verifier_of_the_manual, SETTINGS_PAGE, "def is_genuine", "def is_real"),
    (dead_links, "README.md", "(systemd/BROKER.md)", "(systemd/BROKERS.md)"),
    (dead_links, FIGURES, "(../../systemd/SCALE.md)", "(../systemd/SCALE.md)"),
    (readme_is_long, "README.md", "## Licence", "\n" * README_LINES),
    (cautions_come_late, "README.md", "licensed electrician", "expert"),
    (cautions_come_late, "README.md", "## Cautions", "\n" * CAUTIONS_BY_LINE),
    (figures_of_the_readme_elsewhere, "README.md", "47 right", "47 right and 9173"),
    (figures_of_the_readme_elsewhere, FIGURES, "(319 healthy", "(318 healthy"),
    (figures_without_command, FIGURES, "| `bench_alerts.py` |", "| |"),
    (figures_without_command, FIGURES, "| `bench_fleet.py` |", "| `bench_house.py` |"),
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
