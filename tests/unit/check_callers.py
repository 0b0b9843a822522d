#!/usr/bin/env python3
"""Has every function and object that a unit of lib or daemon makes known to others a caller there?

    check_callers.py [BUILD]

BUILD: a build folder without sanitizers (default: build, then build-clang). What only its own file
uses is static, unless a test calls it too; what nobody uses goes, or moves to tests/support where a
test needs it as a reference. An unused function is planted first and must be found. Ends with
"N passed, N failed".
"""
import glob
import os
import re
import subprocess
import sys
import tempfile

import check_rooms
from check_rooms import TOP, Sum

# Ways to look into an edge, or to set it, that its tests need and no program does.
FOR_TESTS = """service_manager_status web_server_connections web_server_set_patience
daily_upkeep_judged series_count series_newest_day""".split()


def words_of(text):
    return re.findall(r"\b[a-z_][a-z0-9_]*\b", text)


def read_words(pattern):
    texts = []
    for path in glob.glob(os.path.join(TOP, pattern), recursive=True):
        with open(path, encoding="utf-8") as file:
            texts.append(file.read())
    return set(words_of("\n".join(texts)))


def without_caller(objects, sources, tests):
    """Yields what no other object calls and its own file does not need for itself and a test."""
    called = set().union(*(undefined for _, undefined in objects.values()))
    for path, (defined, _) in sorted(objects.items()):
        own = words_of(sources.get(path, ""))
        for name in sorted(defined - called - {"main"}):
            used_here = own.count(name) > 1
            if used_here and name in tests or name in FOR_TESTS:
                continue
            yield f"{name} of {path}: " + ("make it static" if used_here else "nobody calls it")


def plant(objects, sources, total, tests):
    """Functions that nobody calls, that only its own file calls, and that a test calls too."""
    tested = min(tests)
    text = ("int planted_alone(void);\nint planted_alone(void) { return 1; }\n"
            "int planted_used(void);\nint planted_used(void) { return 1; }\n"
            f"int {tested}(void);\nint {tested}(void) {{ return planted_used(); }}\n"
            f"static int (*keep)(void) __attribute__((used)) = {tested};\n")
    path = "lib/measure/planted.c"
    with tempfile.TemporaryDirectory() as scratch:
        source, made = os.path.join(scratch, "planted.c"), os.path.join(scratch, "planted.o")
        with open(source, "w", encoding="utf-8") as file:
            file.write(text)
        subprocess.run([os.environ.get("CC", "cc"), "-std=c17", "-w", "-c", "-o", made, source],
                       check=True)
        planted = {**objects, path: check_rooms.symbols_of(made)}
    # A prototype in the file itself is not a use.
    bodies = re.sub(r"^int \w+\(void\);\n", "", text, flags=re.MULTILINE)
    found = [line for line in without_caller(planted, {**sources, path: bodies}, tests)
             if path in line]
    total.judge("planted functions", [] if found == [
        f"planted_alone of {path}: nobody calls it", f"planted_used of {path}: make it static"]
                else [f"found: {found}"])


def main():
    total = Sum()
    builds = sys.argv[1:] or [build for build in ("build", "build-clang")
                              if os.path.isdir(os.path.join(TOP, build, "CMakeFiles"))]
    build = os.path.join(TOP, builds[0] if builds else "build")
    sources = check_rooms.read_sources()
    objects = {path: symbols for path, symbols in check_rooms.read_objects(build).items()
               if path in sources}
    total.judge(f"objects of {build}", [] if len(objects) > 100 else
                [f"{len(objects)} found: build the preset release first"])
    tests = read_words("tests/**/*.[ch]")
    plant(objects, sources, total, tests)
    total.judge("functions without a caller", without_caller(objects, sources, tests))
    print(f"{total.passed} passed, {total.failed} failed")
    sys.exit(total.failed > 0)


if __name__ == "__main__":
    main()
