#!/usr/bin/env python3
"""Completion of subslabctl in bash, zsh and fish, each the real shell, with a daemon that answers and
without one."""
import os
import pty
import re
import select
import shutil
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
from harness import (BUILD, LOW_AT_ONCE, SOURCE, Skipped, Suite, check, equal, now_ms,  # noqa: E402
                     point, system, timed, wait_until)

suite = Suite()
FOLDER = os.path.join(SOURCE, "daemon", "tool", "completion")
ENVIRONMENT = {**os.environ, "PATH": f"{BUILD}:{os.environ['PATH']}", "LC_ALL": "C.UTF-8"}


def needs(shell):
    if not shutil.which(shell):
        raise Skipped(f"{shell} is not installed")


def run(folder, *command):
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False, cwd=folder,
                          env={**ENVIRONMENT, "HOME": folder, "XDG_CONFIG_HOME": folder, "XDG_DATA_HOME": folder})
    equal(done.stderr, "", f"{command[0]} is quiet")
    return [line for line in done.stdout.splitlines() if line]


def bash(folder, *words):
    needs("bash")
    return run(folder, "bash", "--norc", "-c", f""". {FOLDER}/subslabctl.bash
        COMP_WORDS=("$@") COMP_CWORD=$(($# - 1)); compopt() {{ :; }}
        _subslabctl; printf '%s\\n' "${{COMPREPLY[@]}}" """, "bash", "subslabctl", *words)


def fish(folder, *words):
    needs("fish")
    line = " ".join(["subslabctl", *words])
    return [offered.split("\t")[0] for offered in run(
        folder, "fish", "--no-config", "-c", f"source {FOLDER}/subslabctl.fish; complete -C '{line}'")]


class Zsh:
    """zsh at a terminal: what it makes of a line when the tabulator is pressed."""

    def __init__(self, folder):
        needs("zsh")
        self.folder = folder
        pid, self.terminal = pty.fork()
        if pid == 0:
            os.chdir(folder)
            os.execvpe("zsh", ["zsh", "-f", "-i"], {**ENVIRONMENT, "HOME": folder, "TERM": "dumb", "PS1": "ready> "})
        self.pid = pid
        self.until("ready> ")
        self.line(f"unsetopt zle_bracketed_paste prompt_cr prompt_sp 2>/dev/null; fpath=({FOLDER} $fpath);"
                  "autoload -U compinit && compinit -u -D")
        self.line("report() { print -r -- \"$BUFFER\" >$HOME/line; BUFFER=; };"
                  "zle -N report; bindkey '^I' expand-or-complete; bindkey '^X^R' report")

    def until(self, pattern, seconds=30):
        seen, end = "", time.monotonic() + seconds
        while not re.search(pattern, seen, re.DOTALL):
            check(time.monotonic() < end, f"zsh: no {pattern!r} in {seen[-500:]!r}")
            if select.select([self.terminal], [], [], 0.2)[0]:
                seen += os.read(self.terminal, 65536).decode(errors="replace")
        return seen

    def line(self, text):
        os.write(self.terminal, (text + "\n").encode())
        time.sleep(0.2)
        os.write(self.terminal, b"print do''ne\n")
        # Before the prompt the terminal would take ^R itself.
        self.until("done.*ready> ")

    def completed(self, text):
        """The line after a tabulator; what it offers instead when it cannot decide."""
        path = os.path.join(self.folder, "line")
        os.write(self.terminal, (text + "\t\x18\x12").encode())  # completed, and reported
        wait_until(lambda: os.path.exists(path) and os.path.getsize(path) > 0, 20, f"zsh and {text}")
        with open(path, encoding="utf-8") as file:
            line = file.read().removesuffix("\n")
        os.remove(path)
        return line

    def end(self):
        os.write(self.terminal, b"\nexit\n")
        os.close(self.terminal)
        os.waitpid(self.pid, 0)


def furnished(place):
    broker = place.broker()
    daemon = place.daemon(broker, [system("mill-house", [point("suction"), point("hole", "field")]),
                                   system("creek", [point("suction")])], conditions=LOW_AT_ONCE)
    daemon.start()
    broker.publish([("subslab/creek/suction", timed(50, now_ms()))])
    return daemon, daemon.alarm("suction-low")["id"]


def offers_the_same_everywhere(offers, daemon, alarm):
    """offers(WORD…): what a shell offers for the last of them."""
    known = sorted(line.split()[0] for line in run(daemon.folder, "subslabctl", "--help")
                   if re.match(r"  [a-z]", line))
    equal(sorted(offers("")), known, "the commands are those of the help")
    equal(offers("acknow"), ["acknowledge"], "a command")
    equal(set(offers("shelve", "--")), {"--until", "--by", "--why", "--settings", "--language", "--help"},
          "options of one")
    equal(sorted(offers("--language", "")), ["en", "es"], "languages")
    equal(offers("export", "x", "--as", "s"), ["senml"], "a word")
    settings = ("--settings", daemon.settings_file)
    equal(sorted(offers(*settings, "show", "")), ["creek", "mill-house"], "systems")
    equal(offers(*settings, "show", "m"), ["mill-house"], "systems that begin so")
    equal(offers(*settings, "acknowledge", ""), [str(alarm)], "alarms")
    equal(sorted(offers(*settings, "record", "mill-house", "")), ["hole", "suction"], "points of a system")
    equal(offers(*settings, "acknowledge", str(alarm), "--by", ""), [], "a name is nobody's to offer")
    check(any("subslabd.yaml" in one for one in offers("check", "subsl")), "files")
    equal([one for one in offers("--settings", "/nowhere", "show", "")], [], "nothing without a daemon")


@suite.test
def bash_completes(place):
    daemon, alarm = furnished(place)
    offers_the_same_everywhere(lambda *words: bash(daemon.folder, *words), daemon, alarm)
    equal(bash(daemon.folder, "systems", "--status", "out of sp"), ["out\\ of\\ spec"], "a blank within a word")


@suite.test
def fish_completes(place):
    daemon, alarm = furnished(place)
    offers_the_same_everywhere(lambda *words: fish(daemon.folder, *words), daemon, alarm)


@suite.test
def zsh_completes(place):
    daemon, alarm = furnished(place)
    zsh = Zsh(daemon.folder)
    place.at_end(zsh.end)
    settings = f"subslabctl --settings {daemon.settings_file}"
    for text, whole in (("subslabctl acknow", "subslabctl acknowledge "),
                        ("subslabctl shelve --un", "subslabctl shelve --until "),
                        ("subslabctl export x --as s", "subslabctl export x --as senml "),
                        (f"{settings} show m", f"{settings} show mill-house "),
                        (f"{settings} acknowledge ", f"{settings} acknowledge {alarm} "),
                        (f"{settings} record mill-house h", f"{settings} record mill-house hole "),
                        ("subslabctl check subslabd.y", "subslabctl check subslabd.yaml "),
                        ("subslabctl systems --status out", "subslabctl systems --status out\\ of\\ s"),
                        ("subslabctl --settings /nowhere show m", "subslabctl --settings /nowhere show m")):
        equal(zsh.completed(text), whole, text)


if __name__ == "__main__":
    suite.run()
