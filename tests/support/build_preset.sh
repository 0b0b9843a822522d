#!/bin/sh
# build_preset: configures and builds one preset, as one test: do these sources compile without a
# warning?    build_preset.sh PRESET [TARGET…]
set -eu
preset=$1
shift
cmake --preset "$preset"
# Goes on after a fault, so that the rest can be tested all the same.
if [ $# -eq 0 ]; then
    cmake --build --preset "$preset" --parallel "$JOBS" -- -k
else
    cmake --build --preset "$preset" --parallel "$JOBS" --target "$@" -- -k
fi
echo "1 passed, 0 failed"
