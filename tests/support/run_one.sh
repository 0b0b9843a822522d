#!/bin/sh
# run_one: one test program, watched. Prints one line with its counts, its time and what of it was
# processor time (its own and that of the programs it waited for), the whole log when it failed, and
# adds one row to the table of results:
#     NAME <tab> passed <tab> failed <tab> seconds <tab> seconds of processor <tab>
#     why it failed, where its log may not tell
#
#     RUN_FOLDER=… run_one.sh NAME LIMIT COMMAND [ARGUMENT…]
#
# A good program ends with the line "N passed, N failed" and exit status 0. One that crashes, runs
# longer than LIMIT seconds or prints no such line counts as 1 failed on top of what it counted.
set -u

name=$1 limit=$2
shift 2
log=$RUN_FOLDER/$(printf %s "$name" | tr '/ ' '__').log

begin=$(date +%s)
# timeout makes a process group of its own, so an interrupt must be passed on. A background child of
# sh ignores SIGINT; the tests must not inherit that.
env --default-signal=INT,QUIT timeout -k 10 "$limit" "$@" </dev/null >"$log" 2>&1 &
child=$!
trap 'kill -TERM "$child" 2>/dev/null; exit 143' HUP INT TERM
wait "$child"
status=$?
seconds=$(($(date +%s) - begin))
times >"$log.times" # its second line: user and system time of what was waited for
processor=$(tr 'ms' '  ' <"$log.times" | awk 'NR == 2 { print int(60 * $1 + $2 + 60 * $3 + $4 + 0.5) }')
rm -f "$log.times"

counts=$(grep -E '^[0-9]+ passed, [0-9]+ failed$' "$log" | tail -n 1)
passed=${counts%% passed*} failed=${counts##*, } failed=${failed%% failed}
why=
if [ -z "$counts" ]; then
    passed=0 failed=1 why="no line of counts, exit status $status"
elif [ "$status" -ne 0 ] && [ "$failed" -eq 0 ]; then
    failed=1 why="exit status $status"
elif [ "$passed" -eq 0 ] && [ "$failed" -eq 0 ]; then
    failed=1 why="nothing was tested"
fi
case $status in
124 | 137) why="over its limit of $limit s" ;;
esac

text=$(printf '%-46s %5d passed, %d failed %5d s, processor %4d s' \
    "$name" "$passed" "$failed" "$seconds" "$processor")
[ -z "$why" ] || text="$text  ($why)"
if [ "$failed" -ne 0 ]; then
    # One write, so that two programs at a time do not mix their lines.
    text="$text
---- log of $name
$(cat "$log")
---- end of $name"
fi
printf '%s\n' "$text"
printf '%s\t%d\t%d\t%d\t%d\t%s\n' "$name" "$passed" "$failed" "$seconds" "$processor" "$why" \
    >>"$RUN_FOLDER/results"
