#!/bin/sh
# Do includes point one way, is the core pure, and does every third-party header stay in its place?
#     check_core_is_pure.sh [LIBRARY]
# LIBRARY: a libcore.a built without sanitizers (default: that of build, then of build-clang). The
# check plants violations in a copy of the sources first and must find each of them.
# Ends with "N passed, N failed".
set -u
export LC_ALL=C
cd "$(dirname "$0")/../.." || exit 2

passed=0 failed=0
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

good() { passed=$((passed + 1)); }
bad() {
    failed=$((failed + 1))
    printf 'FAILED %s\n' "$*"
}

# --- the tables --------------------------------------------------------------------------------

# Who may include from where: ROOM and the headers (glob) that it may name besides its own room's.
cat >"$scratch/edges" <<'TABLE'
measure
analysis measure/*
diagnosis measure/* analysis/*
alarm    measure/* analysis/*
words    measure/* analysis/* diagnosis/* alarm/*
settings measure/* alarm/condition.h words/template.h words/wording.h
monitor  measure/* analysis/* diagnosis/* alarm/* settings/*
pack     measure/*
store    measure/* pack/* store_schema.h
link     measure/* settings/settings.h
daemon   measure/* analysis/* diagnosis/* alarm/* words/* settings/* monitor/* pack/* store/* link/* api/* host/* page/* pipeline/* service/* tell/* tool/* upkeep/* page_assets.h
TABLE

# System headers that core may name: nothing of files, sockets, clocks, environment, log or locale.
core_headers="assert.h ctype.h errno.h float.h inttypes.h limits.h math.h stdalign.h stdarg.h \
stdbool.h stddef.h stdint.h stdio.h stdlib.h string.h strings.h"

# A third-party header (glob) and the files (globs) that may name it.
cat >"$scratch/owners" <<'TABLE'
jansson.h        lib/measure/json_node.c lib/words/event.c lib/words/template.c daemon/*
yaml.h           lib/settings/yaml_tree.c
sqlite3.h        lib/store/store_sqlite.h
mosquitto*.h     lib/link/intake.c lib/link/broker_tls.c
mqtt_protocol.h  lib/link/intake.c
curl/*           lib/link/delivery.c daemon/tool/client.c
microhttpd.h     lib/link/web_*.c
openssl/*        lib/link/broker_tls.c lib/link/delivery.c lib/link/signing.c
systemd/*        lib/link/service_manager.c
TABLE

# What libcore.a may leave to others: memory, text, mathematics, formatting into memory, sorting,
# and the two libraries that work on memory alone.
cat >"$scratch/symbols" <<'TABLE'
abort __assert_fail calloc free malloc realloc reallocarray qsort bsearch
memchr memcmp memcpy memmem memmove memrchr memset mempcpy stpcpy strcasecmp strchr strchrnul strcmp
strcpy strcspn strdup strlen strncasecmp strncat strncmp strncpy strndup strnlen strpbrk strrchr strspn
strstr strtok_r __ctype_b_loc __ctype_tolower_loc __ctype_toupper_loc tolower toupper
snprintf vsnprintf asprintf vasprintf __snprintf_chk __vsnprintf_chk __asprintf_chk __vasprintf_chk
strtol strtoll strtoul strtoull __isoc23_strtol __isoc23_strtoll __isoc23_strtoul __isoc23_strtoull
abs llabs acos asin atan atan2 cbrt ceil copysign cos cosh erf erfc exp exp2 expm1 fabs fdim floor fma
fmax fmin fmod frexp hypot ldexp lgamma llrint llround log log10 log1p log2 logb lrint lround modf
nearbyint nextafter pow remainder rint round scalbn sin sinh sqrt tan tanh tgamma trunc sincos
__memcpy_chk __memset_chk __memmove_chk __strcpy_chk __strcat_chk __stack_chk_fail
_GLOBAL_OFFSET_TABLE_
TABLE

# --- the checks: each prints what it finds wrong, for the sources below the folder TREE ---------

# "FILE HEADER" of every include of a room (folder under lib, or daemon)
includes_of() { # TREE ROOM QUOTE: ROOM's includes, QUOTE is " or <
    folder=$1/lib/$2
    [ "$2" != daemon ] || folder=$1/daemon
    grep -HE "^[[:space:]]*#[[:space:]]*include[[:space:]]*$3" "$folder"/*.[ch] "$folder"/*/*.[ch] 2>/dev/null |
        sed -E "s|^$1/||; s|:[^\"<]*[\"<]([^\">]*)[\">].*| \1|"
}

wrong_edges() { # TREE
    while read -r room allowed; do
        includes_of "$1" "$room" '"' | while read -r file header; do
            case $header in
            "$room"/*) continue ;;
            esac
            fits=no
            set -f
            for pattern in $allowed; do
                # shellcheck disable=SC2254
                case $header in $pattern) fits=yes ;; esac
            done
            set +f
            [ "$fits" = yes ] || echo "$file may not include \"$header\""
        done
    done <"$scratch/edges"
    for folder in "$1"/lib/*/; do
        room=$(basename "$folder")
        [ -n "$(find "$folder" -maxdepth 1 -name '*.[ch]')" ] || continue # data only
        grep -q "^$room\b" "$scratch/edges" || echo "lib/$room is in no table of this check"
    done
}

wrong_core_headers() { # TREE
    for room in measure analysis diagnosis alarm words settings monitor; do
        includes_of "$1" "$room" '<' | while read -r file header; do
            case " $core_headers jansson.h yaml.h " in
            *" $header "*) ;;
            *) echo "$file may not include <$header>: core is pure" ;;
            esac
        done
    done
}

wrong_owners() { # TREE
    for room in measure analysis diagnosis alarm words settings monitor pack store link daemon; do
        includes_of "$1" "$room" '[<"]' | while read -r file header; do
            set -f
            while read -r pattern owners; do
                # shellcheck disable=SC2254
                case $header in $pattern) ;; *) continue ;; esac
                fits=no
                for owner in $owners; do
                    # shellcheck disable=SC2254
                    case $file in $owner) fits=yes ;; esac
                done
                [ "$fits" = yes ] || echo "$file may not include <$header>: it belongs to $owners"
            done <"$scratch/owners"
            set +f
        done
    done
}

wrong_symbols() { # LIBRARY: undefined symbols that no other object of it defines
    nm -u "$1" 2>/dev/null | awk '$1 == "U" || $1 == "w" { sub(/@.*/, "", $2); print $2 }' |
        sort -u >"$scratch/needed"
    nm --defined-only "$1" 2>/dev/null | awk 'NF == 3 { print $3 }' | sort -u >"$scratch/defined"
    tr -s ' ' '\n' <"$scratch/symbols" | sort -u >"$scratch/allowed"
    comm -23 "$scratch/needed" "$scratch/defined" | comm -23 - "$scratch/allowed" |
        grep -vE '^(json|yaml)_' | grep -vE '^__(asan|ubsan|sanitizer)_' |
        sed 's/.*/core may not call &/'
    # jansson and libyaml can also read and write files, and draw a seed from the machine.
    comm -23 "$scratch/needed" "$scratch/defined" |
        grep -E '^json_(load|dump)(_file|f|fd|_callback)$|^json_object_seed$' |
        sed 's/.*/core may not call &: it leaves memory/'
    comm -23 "$scratch/needed" "$scratch/defined" |
        grep -E '^yaml_(parser_set_input|emitter_set_output)(_file)?$' |
        sed 's/.*/core may not call &: it leaves memory/'
}

# judge NAME FINDINGS: passes when there are none
judge() {
    if [ -z "$2" ]; then
        good
    else
        bad "$1:"
        printf '%s\n' "$2" | sed 's/^/    /'
    fi
}

# --- planted violations --------------------------------------------------------------------------

# plant FILE LINE CHECK: a copy with LINE added to FILE must make CHECK speak of that file
plant() {
    rm -rf "$scratch/tree"
    mkdir "$scratch/tree"
    cp -r lib daemon "$scratch/tree/"
    mkdir -p "$(dirname "$scratch/tree/$1")"
    printf '%s\n' "$2" >>"$scratch/tree/$1"
    case $("$3" "$scratch/tree") in
    *"$1 "* | *"$(dirname "$1") "*) good ;;
    *) bad "planted in $1 and not found by $3: $2" ;;
    esac
}

# plant_call CALL: a core object that calls it must be found
plant_call() {
    printf 'int %s();\nint planted(void);\nint planted(void) { return %s(); }\n' "$1" "$1" \
        >"$scratch/planted.c"
    rm -f "$scratch/planted.a"
    if ! ${CC:-cc} -std=c17 -w -fno-builtin -c -o "$scratch/planted.o" "$scratch/planted.c" ||
        ! ar rc "$scratch/planted.a" "$scratch/planted.o"; then
        bad "cannot compile a planted call of $1"
        return
    fi
    case $(wrong_symbols "$scratch/planted.a") in
    *"$1"*) good ;;
    *) bad "planted and not found: a call of $1" ;;
    esac
}

plant lib/measure/unit.c '#include "alarm/alarm.h"' wrong_edges
plant lib/measure/unit.h '  #  include   "analysis/trend.h"' wrong_edges
plant lib/analysis/trend.c '#include "alarm/condition.h"' wrong_edges
plant lib/alarm/alarm.c '#include "settings/settings.h"' wrong_edges
plant lib/settings/settings.c '#include "alarm/alarm.h"' wrong_edges
plant lib/monitor/monitor.c '#include "store/store.h"' wrong_edges
plant lib/store/store.c '#include "link/intake.h"' wrong_edges
plant lib/link/intake.c '#include "store/store.h"' wrong_edges
plant lib/link/intake.h '#include "host/log.h"' wrong_edges
plant lib/novelty/novelty.c '#include "measure/unit.h"' wrong_edges
plant lib/measure/timestamp.c '#include <time.h>' wrong_core_headers
plant lib/monitor/monitor.c '#include <unistd.h>' wrong_core_headers
plant lib/words/wording.c '#include <locale.h>' wrong_core_headers
plant lib/link/web_server.c '#include <sqlite3.h>' wrong_owners
plant lib/link/intake.h '#include <mosquitto.h>' wrong_owners
plant lib/alarm/alarm.c '#include <jansson.h>' wrong_owners
plant daemon/host/clock.c '#include <curl/curl.h>' wrong_owners
plant daemon/host/clock.c '#include <openssl/evp.h>' wrong_owners
for call in open read write socket connect time clock_gettime gettimeofday localtime_r getenv fopen \
    fprintf printf puts syslog setlocale strtod rand random getrandom json_load_file json_dumpfd \
    yaml_parser_set_input_file; do
    plant_call "$call"
done

# --- the sources themselves ------------------------------------------------------------------------

judge "direction of includes" "$(wrong_edges .)"
judge "system headers of core" "$(wrong_core_headers .)"
judge "owners of third-party headers" "$(wrong_owners .)"

library=${1:-}
for build in build build-clang; do
    [ -z "$library" ] && [ -f "$build/libcore.a" ] && library=$build/libcore.a
done
if [ -z "$library" ] || [ ! -f "$library" ]; then
    bad "no libcore.a to look into: build the preset release first"
elif [ "$(nm --defined-only "$library" 2>/dev/null | grep -c ' T ')" -lt 100 ]; then
    bad "$library defines hardly anything"
else
    judge "undefined symbols of $library" "$(wrong_symbols "$library")"
fi

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
