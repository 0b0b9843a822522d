#!/usr/bin/env python3
"""Python in the tree, by pyflakes: no star import, no name that nothing defines, no import or local
variable that nothing uses. A file with one of each is judged first, and must be found wanting for each.
Ends with "N passed, N failed"."""
import os
import subprocess
import sys
import tempfile

TOP = os.path.realpath(os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", ".."))
FOLDERS = ("config", "daemon", "lib", "systemd", "tests")

PLANTED = """\
import json
from os.path import *
import os


def of(path):
    unused = 1
    return os.stat(pth), join(path)
"""
MUST_SAY = ("'json' imported but unused",
            "'from os.path import *' used",
            "'join' may be undefined",
            "local variable 'unused' is assigned to but never used")
MUST_SAY_WITHOUT_STAR = ("undefined name 'pth'",)  # with a star it can only be suspected


def python_files():
    for folder in FOLDERS:
        for path, _, names in os.walk(os.path.join(TOP, folder)):
            yield from (os.path.join(path, name) for name in sorted(names) if name.endswith(".py"))


def said_of(files):
    done = subprocess.run(["/usr/bin/python3", "-m", "pyflakes", *files], capture_output=True, text=True,
                          check=False)
    if done.returncode not in (0, 1) or "No module named" in done.stderr:
        raise SystemExit(f"{done.stderr}check_python needs the Debian package pyflakes3\n"
                         f"0 passed, 1 failed")
    return (done.stdout + done.stderr).replace(TOP + os.sep, "").splitlines()


def not_found(text, sentences):
    with tempfile.TemporaryDirectory() as folder:
        name = os.path.join(folder, "planted.py")
        with open(name, "w", encoding="utf-8") as file:
            file.write(text)
        said = "\n".join(said_of([name]))
    return [sentence for sentence in sentences if sentence not in said]


def main():
    without_star = PLANTED.replace("from os.path import *", "from os.path import join")
    problems = [f"planted, and not found: {sentence}" for sentence in
                not_found(PLANTED, MUST_SAY) + not_found(without_star, MUST_SAY_WITHOUT_STAR)]
    passed = len(MUST_SAY) + len(MUST_SAY_WITHOUT_STAR) - len(problems)
    files, said = list(python_files()), said_of(python_files())
    passed += len(files) - len({line.split(":")[0] for line in said})
    problems += said
    for problem in problems:
        print(f"FAILED {problem}")
    print(f"{passed} passed, {len(problems)} failed")
    sys.exit(len(problems) > 0)


if __name__ == "__main__":
    main()
