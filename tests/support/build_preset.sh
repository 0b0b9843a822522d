#!/bin/sh
# build_preset: configures and builds one preset, as one test: do these sources compile without a
# warning?    build_preset.sh PRESET [TARGET…]
set -eu
preset=$1
shift
cmake --preset "$preset"

# Goes on after a fault, so that the rest can be tested all the same; shows what went wrong and not
# each step that went well.
status=$(mktemp)
trap 'rm -f "$status"' EXIT
[ $# -eq 0 ] || set -- --target "$@"
{
    cmake --build --preset "$preset" --parallel "$JOBS" "$@" -- -k --no-print-directory 2>&1 ||
        echo failed >"$status"
} | grep -vE '^\[ *[0-9]+%\] (Building|Linking|Built)' || true

[ ! -s "$status" ] || exit 1
echo "1 passed, 0 failed"
