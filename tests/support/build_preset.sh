#!/bin/sh
# build_preset: configures and builds one preset, as one test: do these sources compile without a
# warning?    build_preset.sh PRESET [TARGET…]
set -eu
preset=$1
shift
cmake --preset "$preset"
if [ $# -eq 0 ]; then
    cmake --build --preset "$preset" --parallel "$JOBS"
else
    cmake --build --preset "$preset" --parallel "$JOBS" --target "$@"
fi
echo "1 passed, 0 failed"
