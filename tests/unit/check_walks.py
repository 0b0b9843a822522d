#!/usr/bin/env python3
"""Does DEVELOPERS.md name the rooms that the tree has, and the walks' functions where they are?

Violations are planted in copies first, and each must be found. Ends with "N passed, N failed".
"""
import os
import re
import sys

TOP = os.path.realpath(os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", ".."))
MOST = {"A reading": 12, "A page": 20}  # calls of each walk


def rooms_of_tree():
    return {f"{top}/{name}" for top in ("lib", "daemon") for name in os.listdir(os.path.join(TOP, top))
            if any(file.endswith(".c") for file in files_of(os.path.join(TOP, top, name)))} | {"daemon"}


def files_of(folder):
    return os.listdir(folder) if os.path.isdir(folder) else []


def wrong_rooms(text):
    table = re.findall(r"^\| `((?:lib|daemon)[^`]*)` \|", text, re.MULTILINE)
    for room in sorted(set(table) ^ rooms_of_tree()):
        yield f"{room} is in the table" if room in table else f"{room} is not in the table"


def defines(room, function):
    for name in files_of(os.path.join(TOP, room)):
        if name.endswith(".c"):
            with open(os.path.join(TOP, room, name), encoding="utf-8") as file:
                if re.search(rf"^[a-z][\w *]*\b{function}\([^;]*$", file.read(), re.MULTILINE):
                    return True
    return False


def wrong_walks(text):
    for title, most in MOST.items():
        walk = re.search(rf"^{title}[^\n]*:\n\n```\n(.*?)```", text, re.MULTILINE | re.DOTALL)
        steps = re.findall(r"^((?:lib|daemon)\S*) +(\w+)", walk[1], re.MULTILINE) if walk else []
        if not 0 < len(steps) <= most:
            yield f"{title}: {len(steps)} calls, not 1 to {most}"
        for room, function in steps:
            if not defines(room, function):
                yield f"{title}: {room} has no {function}"


def main():
    with open(os.path.join(TOP, "DEVELOPERS.md"), encoding="utf-8") as file:
        text = file.read()
    room = re.search(r"^\| `lib/pack`.*\n", text, re.MULTILINE)[0]
    planted = {
        "a missing room": (wrong_rooms, text.replace(room, "")),
        "a room too many": (wrong_rooms, text.replace(room, room + "| `lib/attic` | | |\n")),
        "a function that is not there": (wrong_walks, re.sub(r"^(lib/store +)series_append", r"\1series_attach", text,
                                                                flags=re.MULTILINE)),
        "a function in another room": (wrong_walks, re.sub(r"^lib/store( +series_append)",
                                                           r"lib/link\1", text, flags=re.MULTILINE)),
        "too long a walk": (wrong_walks, re.sub(r"^(lib/store +series_append.*\n)", r"\1" * 13, text,
                                                flags=re.MULTILINE)),
    }
    findings = [f"a planted fault was not found: {name}" for name, (check, faulty) in planted.items()
                if not list(check(faulty))]
    findings += list(wrong_rooms(text)) + list(wrong_walks(text))
    for finding in findings:
        print("FAILED", finding)
    print(f"{len(planted) + 2 - len(findings)} passed, {len(findings)} failed")
    sys.exit(bool(findings))


if __name__ == "__main__":
    main()
