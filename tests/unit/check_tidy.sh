#!/bin/sh
# Is clang-tidy, with the checks of .clang-tidy, content with the sources of lib and daemon?
#     check_tidy.sh [BUILD] [FILE…]
# BUILD: a build folder with compile_commands.json (default: build-clang, then build-check).
# Counts one for each file; two files at a time. Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
tidy=${CLANG_TIDY:-clang-tidy}

build=${1:-}
[ $# -eq 0 ] || shift
for folder in build-clang build-check; do
    [ -z "$build" ] && [ -f "$folder/compile_commands.json" ] && build=$folder
done
if [ -z "$build" ] || [ ! -f "$build/compile_commands.json" ]; then
    echo "FAILED: no compile_commands.json; build the preset clang first"
    echo "0 passed, 1 failed"
    exit 1
fi

scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
export scratch tidy build

# The check itself: a fault that one of the chosen checks knows must be found.
cp .clang-tidy "$scratch/"
cat >"$scratch/planted.c" <<'PLANTED'
int planted(const int *p);
int planted(const int *p) {
    if (!p)
        return *p;
    return 0;
}
PLANTED
if "$tidy" --quiet "$scratch/planted.c" -- -std=c17 >"$scratch/planted" 2>&1; then
    echo "FAILED: a planted fault was not found"
    echo 1 >"$scratch/results"
else
    echo 0 >"$scratch/results"
fi

# Only what the build compiles: a file that is on its way in may be there before its build rule.
[ $# -gt 0 ] || set -- lib/*/*.c daemon/*.c daemon/*/*.c
printf '%s\n' "$@" |
    while read -r file; do
        grep -q "/$file\"" "$build/compile_commands.json" && echo "$file"
    done >"$scratch/files"

# shellcheck disable=SC2016
xargs -r -n 1 -P 2 sh -c '
    name=$scratch/$(printf %s "$1" | tr / _)
    if "$tidy" --quiet -p "$build" "$1" >"$name" 2>/dev/null; then
        echo 0 >>"$scratch/results"
    else
        { echo "FAILED $1"; grep -vE "^[0-9]+ warnings? (generated|treated)" "$name"; } >"$name.text"
        cat "$name.text"
        echo 1 >>"$scratch/results"
    fi' one <"$scratch/files"

awk '{ if ($1) failed++; else passed++ }
    END { printf "%d passed, %d failed\n", passed, failed; exit failed > 0 || passed < 2 }' \
    "$scratch/results"
