#!/bin/sh
# Does the runner count rightly? Programs that crash, hang, say nothing, say it wrongly or lie go
# through tests/support/run_one.sh. Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
passed=0 failed=0
RUN_FOLDER=$(mktemp -d) || exit 2
export RUN_FOLDER
trap 'rm -rf "$RUN_FOLDER"' EXIT

# counts NAME WANTED SHOWN SCRIPT: the row must be "WANTED", the log be shown or not
counts() {
    : >"$RUN_FOLDER/results"
    shown=$(sh tests/support/run_one.sh "$1" 2 sh -c "$4")
    got=$(cut -f 2,3 "$RUN_FOLDER/results" | tr '\t' ' ')
    case $shown in *"---- log of $1"*) log=log ;; *) log=line ;; esac
    if [ "$got $log" = "$2 $3" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED $1: wanted $2 $3, got $got $log"
    fi
}

counts good '3 0' line 'echo 3 passed, 0 failed'
counts good-after-noise '3 0' line 'echo 1 passed, 1 failed; echo more; echo 3 passed, 0 failed'
counts fails '2 1' log 'echo 2 passed, 1 failed; exit 1'
counts fails-with-status-0 '2 1' log 'echo 2 passed, 1 failed'
counts crashes-after-the-counts '2 1' log 'echo 2 passed, 0 failed; kill -SEGV $$'
counts crashes-before '0 1' log 'kill -ABRT $$'
counts silent '0 1' log 'true'
counts says-it-otherwise '0 1' log 'echo all 12 passed, 0 failed so far'
counts tests-nothing '0 1' log 'echo 0 passed, 0 failed'
counts hangs '0 1' log 'sleep 30'
counts hangs-after-the-counts '2 1' log 'echo 2 passed, 0 failed; sleep 30'
counts not-there '0 1' log 'exec /nowhere/at/all'
counts waits-for-input '1 0' line 'cat; echo 1 passed, 0 failed'

counts sees-interrupts '1 0' line 'trap "echo 1 passed, 0 failed; exit 0" INT; kill -INT $$; exit 1'

# The end of a run names what failed, with its reasons, and sums up.
: >"$RUN_FOLDER/results"
sh tests/support/run_one.sh good/one 2 sh -c 'echo FAILED not this; echo 3 passed, 0 failed' >"$RUN_FOLDER/out"
sh tests/support/run_one.sh bad/one 2 sh -c 'echo FAILED the lid; echo 2 passed, 1 failed' >>"$RUN_FOLDER/out"
sh tests/support/run_one.sh bad/two 1 sleep 30 >>"$RUN_FOLDER/out"
ended=$(sh tests/support/sum_up.sh) && ended="$ended and status 0"
if [ "$ended" = 'failed: bad/one
    FAILED the lid
failed: bad/two (over its limit of 1 s)
5 passed, 2 failed' ]; then
    passed=$((passed + 1))
else
    failed=$((failed + 1))
    echo "FAILED the end of a run: $ended"
fi

# An interrupted run leaves no program behind.
sh tests/support/run_one.sh interrupted 30 sh -c 'echo $$ >"$RUN_FOLDER/pid"; exec sleep 30' &
runner=$!
while [ ! -s "$RUN_FOLDER/pid" ] && kill -0 "$runner" 2>/dev/null; do sleep 0.1; done
program=$(cat "$RUN_FOLDER/pid")
kill -TERM "$runner"
wait "$runner"
for _ in 1 2 3 4 5 6 7 8 9 10; do
    kill -0 "$program" 2>/dev/null || break
    sleep 0.2
done
if kill -0 "$program" 2>/dev/null; then
    failed=$((failed + 1))
    echo "FAILED: an interrupted run left its program behind"
    kill "$program"
else
    passed=$((passed + 1))
fi

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
