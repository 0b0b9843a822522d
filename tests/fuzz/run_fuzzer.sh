#!/bin/sh
# run_fuzzer: one fuzzer for some seconds from its seeds and from what earlier runs found, as one
# test. tests/fuzz/corpus holds what a run of ten minutes of each left after -merge=1. What it finds
# new stays in BUILD/corpus/NAME; an input that fails, in BUILD/failures.
#     run_fuzzer.sh BUILD NAME SECONDS
# To repeat a failure: BUILD/fuzz/fuzz_NAME FILE
set -eu
build=$1 name=$2 seconds=$3
corpus=$build/corpus/$name failures=$build/failures
mkdir -p "$corpus" "$failures"
kept=tests/fuzz/corpus/$name.tar.gz
[ ! -f "$kept" ] || tar -xzf "$kept" -C "$build/corpus"
seeds=
[ ! -d "tests/fuzz/seeds/$name" ] || seeds=tests/fuzz/seeds/$name

output=$build/corpus/$name.log status=0
# shellcheck disable=SC2086
"$build/fuzz/fuzz_$name" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 \
    -artifact_prefix="$failures/$name-" -print_final_stats=1 "$corpus" $seeds >"$output" 2>&1 ||
    status=$?
cat "$output"
[ "$status" -eq 0 ] || exit "$status"

# A fuzzer that sees only its own few lines finds nothing: the code under test must count branches.
counters=$(sed -n 's/.*Loaded [0-9]* modules *(\([0-9]*\) inline.*/\1/p' "$output")
if [ "${counters:-0}" -lt 100 ]; then
    echo "only ${counters:-0} branches are counted: the library was built without them"
    echo "1 passed, 1 failed"
    exit 1
fi
echo "2 passed, 0 failed"
