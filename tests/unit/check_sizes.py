#!/usr/bin/env python3
"""Is nothing too large to be read at once, and has a name one meaning? In lib and daemon no function has
over 40 lines, no struct 30 members, and no tag is that of two types; there and in the tests no file has over
500 lines.

A named inner struct is one member, for it is read by its name. Of each kind one that is just too large is
planted first and must be found, and one that just is not must pass; so is a second type. Ends with "N passed, N failed".
"""
import os
import re
import sys

from check_rooms import TOP, Sum

FUNCTION_LINES_MAX, FILE_LINES_MAX, MEMBERS_MAX = 40, 500, 29
# The texts of one language: data that happens to be C.
TEXTS = ("wording_texts",)


def blanked(text):
    """The text without comments and what stands in quotes; lines stay where they are."""
    def blank(match):
        kept = match.group(0)
        return '""' if kept[0] == '"' else "' '" if kept[0] == "'" else "\n" * kept.count("\n")
    return re.sub(r'/\*.*?\*/|//[^\n]*|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\\n])*\'', blank, text, flags=re.S)


def end_of(text, opening):
    """Where the brace that opens here is closed."""
    depth = 0
    for match in re.finditer(r"[{}]", text[opening:]):
        depth += 1 if match.group(0) == "{" else -1
        if depth == 0:
            return opening + match.start()
    return len(text)


def functions(text):
    """(name, lines) of each function, from its first line to its last brace; clang-format sees to it that
    a definition begins at the left edge and nothing else does."""
    for match in re.finditer(r"^(?!struct \w+ \{|enum|union)[a-z_][^;{}()=]*?(\w+)\([^;{}]*\)\s*\{", text, re.M):
        end = end_of(text, match.end() - 1)
        yield match.group(1), text.count("\n", match.start(), end) + 1


def members(body):
    """How many members the inside of a struct declares: `int a, b;` are two."""
    flat, depth = "", 0
    for character in body:
        depth += (character in "{([") - (character in "})]")
        if depth == 0 and character not in "})]":
            flat += character
    return sum(declaration.count(",") + 1 for declaration in flat.split(";")[:-1])


def structs(text):
    for match in re.finditer(r"\bstruct(?:\s+(\w+))?\s*\{", text):
        end = end_of(text, match.end() - 1)
        name = match.group(1) or (re.match(r"\}\s*\**(\w+)", text[end:]) or [None, "without a name"])[1]
        yield name, members(text[match.end():end])


def faults_of(path, text):
    lines = text.count("\n")
    if lines > FILE_LINES_MAX:
        yield f"{path} has {lines} lines"
    if path.startswith("tests") or not path.endswith((".c", ".h")):
        return
    text = blanked(text)
    for name, length in functions(text):
        if length > FUNCTION_LINES_MAX:
            yield f"{path}: {name} has {length} lines"
    for name, count in structs(text):
        if count > MEMBERS_MAX and name not in TEXTS:
            yield f"{path}: struct {name} has {count} members"


def tags(text):
    """Those of the types that a file declares."""
    return set(re.findall(r"\b(?:struct|enum|union)\s+(\w+)\s*\{", blanked(text)))


def second_types(sources):
    """A tag's first file, in the order of their paths, and each other one."""
    first = {}
    for path, text in sorted(sources.items()):
        for tag in sorted(tags(text)):
            if first.setdefault(tag, path) != path:
                yield f"{path}: the tag {tag} is that of a type in {first[tag]}"


def planted(lines, statements, count):
    """A file with a function and a struct, each as large as said."""
    function = "static int planted(void) {\n" + "    step();\n" * statements + "}\n"
    struct = ("struct planted {\n    int a, /* , */ *b[3];\n    struct {\n        int x, y;\n    } c;\n"
              "    int (*d)(int, int);\n" + "".join(f"    int e{i};\n" for i in range(count - 4)) + "};\n")
    text = function + struct
    return text + "\n" * (lines - text.count("\n"))


def main():
    total = Sum()
    largest = (FILE_LINES_MAX, FUNCTION_LINES_MAX - 2, MEMBERS_MAX)
    total.judge("what is just small enough", faults_of("lib/planted.c", planted(*largest)))
    for i, words in enumerate(("has 501 lines", "planted has 41 lines", "struct planted has 30 members")):
        sizes = [size + (i == k) for k, size in enumerate(largest)]
        found = list(faults_of("lib/planted.c", planted(*sizes)))
        total.expect(len(found) == 1 and words in found[0], words)
    twice = list(second_types({"lib/a.c": "struct row {\n    int a;\n};\n", "lib/b.c": "enum row { A };\n",
                               "lib/c.c": "/* struct row { */\nstruct row *row;\n"}))
    total.expect(len(twice) == 1 and twice[0].startswith("lib/b.c: the tag row"), "a second type of a tag")
    sources = {}
    for folder in ("lib", "daemon", "tests"):
        for place, _, names in os.walk(os.path.join(TOP, folder)):
            for name in sorted(names):
                if name.endswith((".c", ".h", ".py", ".mjs", ".js", ".css")) and "node_modules" not in place:
                    path = os.path.join(place, name)
                    with open(path, encoding="utf-8") as file:
                        text = file.read()
                    total.judge(name, faults_of(os.path.relpath(path, TOP), text))
                    if folder != "tests" and name.endswith((".c", ".h")):
                        sources[os.path.relpath(path, TOP)] = text
    total.judge("tags", second_types(sources))
    print(f"{total.passed} passed, {total.failed} failed")
    return 1 if total.failed else 0


if __name__ == "__main__":
    sys.exit(main())
