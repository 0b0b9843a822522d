#!/usr/bin/env python3
"""Do includes and calls point one way, from room to room, without a circle, is the core pure, and
does every third-party header stay in its place?

    check_rooms.py [BUILD]

BUILD: a build folder without sanitizers (default: build, then build-clang), whose objects are looked
into. Violations are planted in copies first, one at least in each row of the tables, and each must be
found. Ends with "N passed, N failed".
"""
import collections
import fnmatch
import os
import re
import subprocess
import sys
import tempfile

TOP = os.path.realpath(os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", ".."))

# Who may include and call what: a room, and the headers (globs) that it may name besides its own.
# A room under lib or daemon; the order is the direction.
ROOMS = {
    "measure": "",
    "analysis": "measure/*",
    "diagnosis": "measure/* analysis/*",
    "alarm": "measure/* analysis/*",
    "words": "measure/* analysis/* diagnosis/* alarm/* complaints.h",
    "settings": "measure/* alarm/condition.h words/template.h words/text_buffer.h words/wording.h complaints.h",
    "monitor": "measure/* analysis/* diagnosis/* alarm/* settings/* complaints.h",
    "pack": "measure/*",
    "store": "measure/* pack/* store_schema.h",
    "link": "measure/* settings/settings.h",
}
LIB = " ".join([*(f"{room}/*" for room in ROOMS), "complaints.h"])
HOST = f"{LIB} host/*"
TELL = f"{HOST} tell/*"
PIPELINE = f"{TELL} pipeline/*"
UPKEEP = f"{PIPELINE} upkeep/*"
API = f"{UPKEEP} api/*"
PAGE = f"{API} page/* page_assets.h"
ROOMS |= {
    "host": LIB,
    "tell": HOST,
    "pipeline": TELL,
    "upkeep": PIPELINE,
    "api": UPKEEP,
    "page": f"{API} page_assets.h",
    "service": f"{PAGE} web.h",
    "tool": PIPELINE,
    "": f"{PAGE} web.h service/service.h tool/*",  # web.c and the two main files
}
CORE = ["measure", "analysis", "diagnosis", "alarm", "words", "settings", "monitor"]

# System headers that core may name: nothing of files, sockets, clocks, environment, log or locale.
CORE_HEADERS = """assert.h ctype.h errno.h float.h inttypes.h limits.h math.h stdalign.h stdarg.h
stdatomic.h stdbool.h stddef.h stdint.h stdio.h stdlib.h string.h strings.h jansson.h yaml.h""".split()

# A third-party header (glob) and the files (globs) that may name it.
OWNERS = {
    "jansson.h": "lib/measure/json_node.c lib/words/event.c lib/words/template.c daemon/*",
    "yaml.h": "lib/settings/yaml_tree.c",
    "sqlite3.h": "lib/store/store_sqlite.h",
    "mosquitto*.h": "lib/link/intake*.[ch] lib/link/broker_reason.c lib/link/broker_tls.c",
    "mqtt_protocol.h": "lib/link/intake*.c",
    "curl/*": "lib/link/delivery.c daemon/tool/ctl_client.c",
    "microhttpd.h": "lib/link/web_*.c",
    "openssl/*": "lib/link/broker_tls.c lib/link/delivery.c lib/link/signing.c",
}

# What core may leave to others: memory, text, mathematics, formatting into memory, sorting, and the
# two libraries, as far as they work on memory alone.
CORE_CALLS = set("""
abort __assert_fail calloc free malloc realloc reallocarray qsort bsearch
memchr memcmp memcpy memmem memmove memrchr memset mempcpy stpcpy strcasecmp strchr strchrnul strcmp
strcpy strcspn strdup strlen strncasecmp strncat strncmp strncpy strndup strnlen strpbrk strrchr
strspn strstr strtok_r __ctype_b_loc __ctype_tolower_loc __ctype_toupper_loc tolower toupper
snprintf vsnprintf asprintf vasprintf __snprintf_chk __vsnprintf_chk __asprintf_chk __vasprintf_chk
strtod strtol strtoll strtoul strtoull
__isoc23_strtol __isoc23_strtoll __isoc23_strtoul __isoc23_strtoull
abs llabs acos asin asinh atan atan2 cbrt ceil copysign cos cosh erf erfc exp exp2 expm1 fabs fdim floor
fma fmax fmin fmod frexp hypot ldexp lgamma llrint llround log log10 log1p log2 logb lrint lround
modf nearbyint nextafter pow remainder rint round scalbn sin sinh sqrt tan tanh tgamma trunc sincos
__memcpy_chk __memset_chk __memmove_chk __strcpy_chk __strcat_chk __stack_chk_fail
_GLOBAL_OFFSET_TABLE_
""".split())
CORE_LIBRARIES = re.compile(r"(json|yaml)_|__(asan|ubsan|sanitizer)_")
LEAVES_MEMORY = re.compile(r"json_(load|dump)(_file|f|fd|_callback)$|json_object_seed$|"
                           r"yaml_(parser_set_input|emitter_set_output)(_file)?$")
INCLUDE = re.compile(r'^\s*#\s*include\s*(["<])([^">]+)[">]', re.MULTILINE)


def read_sources():
    """{path: text} of lib and daemon."""
    sources = {}
    for top in ("lib", "daemon"):
        for folder, _, names in os.walk(os.path.join(TOP, top)):
            for name in names:
                if name.endswith((".c", ".h")):
                    path = os.path.relpath(os.path.join(folder, name), TOP)
                    with open(os.path.join(TOP, path), encoding="utf-8") as file:
                        sources[path] = file.read()
    return sources


def room_of(path):
    """lib/ROOM/… or daemon/ROOM/…; "" for the files of daemon/ itself."""
    return os.path.dirname(path).partition("/")[2]


def unit_of(path):
    return (room_of(path) + "/" + os.path.splitext(os.path.basename(path))[0]).lstrip("/")


def allows(room, header):
    return os.path.dirname(header) == room or any(
        fnmatch.fnmatchcase(header, pattern) for pattern in ROOMS[room].split())


# --- the checks: each yields what it finds wrong ---------------------------------------------------

def wrong_directions(sources):
    for path, text in sources.items():
        if room_of(path) not in ROOMS:
            yield f"{path}: its room is in no table of this check"
            continue
        for quote, header in INCLUDE.findall(text):
            if quote == '"' and not allows(room_of(path), header):
                yield f'{path} may not include "{header}"'


def wrong_headers(sources):
    for path, text in sources.items():
        for quote, header in INCLUDE.findall(text):
            if room_of(path) in CORE and quote == "<" and header not in CORE_HEADERS:
                yield f"{path} may not include <{header}>: core is pure"
            for pattern, owners in OWNERS.items():
                if fnmatch.fnmatchcase(header, pattern) and not any(
                        fnmatch.fnmatchcase(path, owner) for owner in owners.split()):
                    yield f"{path} may not include <{header}>: it belongs to {owners}"


def whole_unit(unit, units):
    """NAME.c, NAME.h and the NAME_PART files beside them are one unit: that of the shortest name."""
    room, slash, name = unit.rpartition("/")
    parts = name.split("_")
    for length in range(1, len(parts)):
        shorter = room + slash + "_".join(parts[:length])
        if shorter in units:
            return shorter
    return unit


def circles(sources):
    """Units that include each other, directly or through others."""
    units = {unit_of(path) for path in sources}
    graph = collections.defaultdict(set)
    for path, text in sources.items():
        unit = whole_unit(unit_of(path), units)
        for quote, header in INCLUDE.findall(text):
            other = os.path.splitext(header)[0]
            if quote == '"' and other in units and whole_unit(other, units) != unit:
                graph[unit].add(whole_unit(other, units))

    def reaches(start):
        seen, todo = set(), [start]
        while todo:
            for other in graph[todo.pop()] - seen:
                seen.add(other)
                todo.append(other)
        return seen

    reached = {unit: reaches(unit) for unit in list(graph)}
    done = set()
    for unit in sorted(reached):
        circle = {other for other in reached[unit] if unit in reached.get(other, ())}
        if circle and unit not in done:
            done |= circle
            yield "a circle: " + ", ".join(sorted(circle))


def read_objects(build):
    """{path of the source: (defined symbols, undefined symbols)} of a build folder's objects."""
    objects = {}
    for folder, _, names in os.walk(os.path.join(build, "CMakeFiles")):
        for name in names:
            path = os.path.join(folder, name).replace(".dir/languages/", ".dir/lib/words/")
            found = re.search(r"\.dir/((?:lib|daemon)/.*\.c)\.o$", path)  # languages.cmake makes some
            if found and "/tests/" not in folder:
                objects[found[1]] = symbols_of(os.path.join(folder, name))
    return objects


def symbols_of(file):
    lines = subprocess.run(["nm", file], capture_output=True, text=True, check=True).stdout
    defined, undefined = set(), set()
    for line in lines.splitlines():
        kind, name = line.split()[-2:]
        name = name.partition("@")[0]
        if kind in "Uw":
            undefined.add(name)
        elif kind.isupper() and kind != "R" or kind == "R":
            defined.add(name)
    return defined, undefined


def wrong_calls(objects):
    homes = {}
    for path, (defined, _) in objects.items():
        for name in defined:
            homes[name] = path
    for path, (_, undefined) in objects.items():
        for name in sorted(undefined):
            home = homes.get(name)
            if home and not allows(room_of(path), unit_of(home) + ".h") and not any(
                    allows(room_of(path), unit + ".h") for unit in longer_names(unit_of(home))):
                yield f"{path} may not call {name} of {home}"
            if not home and room_of(path) in CORE:
                yield from wrong_outside_call(path, name)


def longer_names(unit):
    """settings/settings_errors.c may be declared in settings/settings.h."""
    room, slash, name = unit.rpartition("/")
    parts = name.split("_")
    return [room + slash + "_".join(parts[:length]) for length in range(1, len(parts))]


def wrong_outside_call(path, name):
    if LEAVES_MEMORY.match(name):
        yield f"{path}: core may not call {name}: it leaves memory"
    elif name not in CORE_CALLS and not CORE_LIBRARIES.match(name):
        yield f"{path}: core may not call {name}"


# --- planted violations ----------------------------------------------------------------------------

def some_file(sources, room, ending=".c"):
    folder = ("lib/" if f"lib/{room}/" in " ".join(sources) else "daemon/") + room
    return min(path for path in sources if os.path.dirname(path) == folder.rstrip("/")
               and path.endswith(ending))


def planted_directions(sources):
    """For each room an include of every room that it may not use."""
    for room in ROOMS:
        for other in ROOMS:
            headers = [path for path in sources if room_of(path) == other and path.endswith(".h")]
            if other == room or not headers or allows(room, unit_of(headers[0]) + ".h"):
                continue
            file = some_file(sources, room)
            yield file, f'  #  include   "{unit_of(headers[0])}.h"', wrong_directions
    yield "lib/novelty/novelty.c", '#include "measure/unit.h"', wrong_directions


def planted_headers(sources):
    for room in CORE:
        yield some_file(sources, room), "#include <time.h>", wrong_headers
    for pattern in OWNERS:
        yield "lib/alarm/alarm.c", f"#include <{pattern.replace('*', 'x')}>", wrong_headers


def planted_circles(sources):
    del sources
    yield "lib/measure/unit.h", '#include "measure/payload.h"', circles


def plant_include(sources, file, line, check):
    """True when the check speaks of the file with this line, and did not before."""
    planted = {**sources, file: sources.get(file, "") + "\n" + line + "\n"}
    return set(check(planted)) - set(check(sources)) != set()


CALLS = """open read write socket connect time clock_gettime gettimeofday localtime_r getenv fopen
fprintf printf puts syslog setlocale rand random getrandom json_load_file json_dumpfd
yaml_parser_set_input_file""".split()


def plant_call(scratch, path, call):
    """The object of a source at this path that calls it: its symbols."""
    source, made = os.path.join(scratch, "planted.c"), os.path.join(scratch, "planted.o")
    with open(source, "w", encoding="utf-8") as file:
        file.write(f"int {call}();\nint planted(void);\nint planted(void) {{ return {call}(); }}\n")
    subprocess.run([os.environ.get("CC", "cc"), "-std=c17", "-w", "-fno-builtin", "-c", "-o", made,
                    source], check=True)
    return {path: symbols_of(made)}


def planted_calls(objects):
    """For each room a call of some function of every room that it may not use."""
    for call in CALLS:
        yield "lib/alarm/planted.c", call
    for room in ROOMS:
        for other in ROOMS:
            homes = [path for path in objects if room_of(path) == other and objects[path][0] and
                     path.count("/") > 1]
            if other == room or not homes or any(allows(room, unit_of(h) + ".h") for h in homes):
                continue
            top = "lib" if room in list(ROOMS)[:10] else "daemon"
            yield os.path.join(top, room, "planted.c"), min(objects[min(homes)][0])


# --- the run -----------------------------------------------------------------------------------------

class Sum:
    passed = failed = 0

    def judge(self, name, findings):
        findings = list(findings)
        if not findings:
            self.passed += 1
            return
        self.failed += 1
        print(f"FAILED {name}:")
        for finding in findings:
            print(f"    {finding}")

    def expect(self, found, name):
        self.judge("a planted fault was not found", [] if found else [name])


def judge_objects(total, build):
    objects = read_objects(build)
    total.judge(f"objects of {build}", [] if len(objects) > 100 else
                [f"{len(objects)} found: build the preset release first"])
    with tempfile.TemporaryDirectory() as scratch:
        for path, call in planted_calls(objects):
            planted = {**objects, **plant_call(scratch, path, call)}
            total.expect(any(path in finding and call in finding for finding in wrong_calls(planted)),
                         f"a call of {call} in {path}")
    total.judge("direction of calls", wrong_calls(objects))


# Libraries of the daemon that the operator's tool has no use for.
NOT_OF_TOOL = ["libmosquitto", "libmicrohttpd", "libssl", "libcrypt."]


def wrong_libraries(program, unwanted):
    text = subprocess.run(["readelf", "-d", program], capture_output=True, text=True,
                          check=True).stdout
    for name in re.findall(r"NEEDED.*\[(.*)\]", text):
        if name.startswith(tuple(unwanted)):
            yield f"{os.path.basename(program)} is linked with {name}"


def main():
    sources, total = read_sources(), Sum()
    for plan in (planted_directions, planted_headers, planted_circles):
        for file, line, check in plan(sources):
            total.expect(plant_include(sources, file, line, check), f"{line} in {file}")
    total.judge("direction of includes", wrong_directions(sources))
    total.judge("owners of headers", wrong_headers(sources))
    total.judge("circles", circles(sources))
    builds = sys.argv[1:] or [build for build in ("build", "build-clang")
                              if os.path.isdir(os.path.join(TOP, build, "CMakeFiles"))]
    build = os.path.join(TOP, builds[0] if builds else "build")
    judge_objects(total, build)
    total.expect(list(wrong_libraries(os.path.join(build, "subslabd"), NOT_OF_TOOL)),
                 "the daemon's libraries")
    total.judge("libraries of the tool",
                wrong_libraries(os.path.join(build, "subslabctl"), NOT_OF_TOOL))
    print(f"{total.passed} passed, {total.failed} failed")
    sys.exit(total.failed > 0)


if __name__ == "__main__":
    main()
