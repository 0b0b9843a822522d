#!/bin/sh
# Builds and tests:    sh tests/run.sh [--quick | --all] [GROUP…]
#
#   (nothing) check unit reference edge wiring scenario service browser
#   --quick   unit reference edge wiring: what needs no daemon and no browser
#   --all     also what takes long and seldom breaks: tidy (clang-tidy), package (the Debian package in
#             a clean Debian, this and the next), bits (the same arithmetic on other processors,
#             emulated), emulated (unit reference edge wiring for 64-bit and 32-bit ARM, but for
#             what takes minutes there), cluster (brokers of several nodes), neighbours (proxies and
#             what else stands beside the daemon), fuzz, bench
#   GROUP     only these; machines (the package for other processors, and what emulated leaves to
#             it, half an hour) is on request alone
#   --list    prints what would run
#
# Needs root or sudo only to install Debian packages that are missing. Each program's output goes to
# build-check/log; the terminal gets one line a program, the whole log of one that failed, and at
# the end what failed once more. The last line is the sum, "N passed, N failed"; exit status 1 when
# anything failed.
#
# Environment: FUZZ_SECONDS (60): fuzzing in all. TEST_LIMIT (1800): seconds after which a program hangs.
# TEST_SEED: repeats the random tests. JOBS (processors): compilers, and test programs that compute, at a
# time. SIDE_BY_SIDE (twice the processors): test programs that wait, beside them.
#
# What a test program finds in its environment (the current folder is the top of the source tree):
#   SUBSLAB_BUILD      folder with the built subslabd and subslabctl, and tests/tool_*
#   VALIDATORS_FOLDER  folder whose node_modules holds the packages of tests/support/npm
#   TOOL_EVENT         the program built from tests/support/tool_event.c
set -u
cd "$(dirname "$0")/.." || exit 2
. config/packages.sh
# Debian's python3 comes first: it is the one that finds Debian's packages.
PATH=/usr/bin:/bin:$PATH
export PATH

quick_groups="unit reference edge wiring"
usual_groups="check $quick_groups scenario service browser"
all_groups="$usual_groups tidy package bits emulated cluster neighbours fuzz bench"
on_request="machines"
groups="" chosen=$usual_groups list=no
for argument; do
    case $argument in
    --quick) chosen=$quick_groups ;;
    --all) chosen=$all_groups ;;
    --list) list=yes ;;
    -h | --help)
        sed -n '2,/^set/{/^set/d;s/^# \{0,1\}//;p;}' tests/run.sh
        exit 0
        ;;
    *)
        case " $all_groups $on_request " in
        *" $argument "*) groups="$groups $argument" ;;
        *)
            echo "tests/run.sh: no group $argument; there are: $all_groups $on_request" >&2
            exit 2
            ;;
        esac
        ;;
    esac
done
groups=${groups:-$chosen}

FUZZ_SECONDS=${FUZZ_SECONDS:-60}
TEST_LIMIT=${TEST_LIMIT:-1800}
JOBS=${JOBS:-$(nproc)}
SIDE_BY_SIDE=${SIDE_BY_SIDE:-$((2 * $(nproc)))}
RUN_FOLDER=build-check/log
SUBSLAB_BUILD=$PWD/build-check
VALIDATORS_FOLDER=$PWD/build-npm
TOOL_EVENT=$SUBSLAB_BUILD/tests/tool_event
# Not strict_string_checks: it calls strndup of a part of a buffer a fault.
ASAN_OPTIONS=detect_leaks=1:detect_stack_use_after_return=1:quarantine_size_mb=16
UBSAN_OPTIONS=print_stacktrace=1:halt_on_error=1
LSAN_OPTIONS=report_objects=1
# A single test of a C program has its own limit; programs side by side on a busy machine need more.
CK_TIMEOUT_MULTIPLIER=${CK_TIMEOUT_MULTIPLIER:-10}
PYTHONDONTWRITEBYTECODE=1
PYTHONUNBUFFERED=1
export FUZZ_SECONDS TEST_LIMIT JOBS RUN_FOLDER SUBSLAB_BUILD VALIDATORS_FOLDER TOOL_EVENT
export CK_TIMEOUT_MULTIPLIER ASAN_OPTIONS UBSAN_OPTIONS LSAN_OPTIONS PYTHONDONTWRITEBYTECODE PYTHONUNBUFFERED

# wants GROUP: was it asked for?
wants() {
    for wanted in $groups; do
        [ "$wanted" != "$1" ] || return 0
    done
    return 1
}

# run_jobs AT_A_TIME [NICENESS]: standard input holds one "NAME LIMIT COMMAND ARGUMENT…" a line.
run_jobs() {
    if [ "$list" = yes ]; then
        cut -d ' ' -f 1,3-
    else
        # A background child of sh ignores an interrupt; the jobs must not.
        grep . | tr '\n' '\0' | env --default-signal=INT,QUIT nice -n "${2:-0}" \
            xargs -0 -r -P "$1" -I '{}' sh -c 'exec sh tests/support/run_one.sh {}'
    fi
}

# What tests write is soon gone again: in memory, where there is room for it, a sync costs nothing.
if [ "$(df -Pm /dev/shm 2>/dev/null | awk 'NR == 2 { print $4 }')" -gt 4000 ] 2>/dev/null; then
    TMPDIR=$(mktemp -d /dev/shm/subslab-tests.XXXXXX) || exit 2
else
    TMPDIR=$(mktemp -d) || exit 2
fi
chmod 755 "$TMPDIR"
export TMPDIR
trap 'rm -rf "$TMPDIR"' EXIT
trap 'exit 143' HUP INT TERM

# --- what to run: one function a group, printing jobs --------------------------------------------

jobs_of_programs() { # FOLDER: its C programs
    for source in tests/"$1"/test_*.c; do
        [ -f "$source" ] || continue
        program=$1_$(basename "$source" .c)
        echo "$1/$(basename "$source" .c) $TEST_LIMIT build-check/tests/$program"
    done
}

jobs_of_scripts() { # FILE…: sh, Python and JavaScript by their ending
    for script; do
        [ -f "$script" ] || continue
        name=${script#tests/}
        case $script in
        *.sh) echo "$name $TEST_LIMIT sh $script" ;;
        *.py)
            # A script that judges a helper program gets that program as its argument.
            tool=build-check/tests/tool_$(basename "${script#*check_}" .py)
            [ -f "tests/support/$(basename "$tool").c" ] || tool=
            echo "$name $TEST_LIMIT python3 $script $tool"
            ;;
        *.mjs) echo "$name $TEST_LIMIT node $script" ;;
        esac
    done
}

# Programs that take a minute or more, the longest first; then the others as they come.
long_programs="wiring/test_world wiring/test_scenarios unit/check_cppcheck wiring/test_replay \
wiring/test_replay_files edge/test_store_upgrade browser/run service/test_faults service/test_kill \
edge/test_intake_broker service/test_fleet_years service/test_demo service/test_contract_messages \
service/test_memory service/test_lists service/test_contract_judgement service/test_poison"

longest_first() {
    awk -v long="$long_programs" '
        BEGIN { count = split(long, names, " "); for (i in names) place[names[i]] = i }
        { name = $1; sub(/\.(sh|py|mjs)$/, "", name) }
        name in place { early[place[name]] = $0; next }
        { late = late $0 "\n" }
        END { for (i = 1; i <= count; i++) if (i in early) print early[i]; printf "%s", late }'
}

jobs_of_fuzzers() {
    set -- tests/fuzz/fuzz_*.c
    seconds=$((FUZZ_SECONDS / $#))
    [ "$seconds" -ge 1 ] || seconds=1
    for source; do
        name=$(basename "$source" .c)
        echo "fuzz/$name $((seconds + 60)) sh tests/fuzz/run_fuzzer.sh build-fuzz ${name#fuzz_} $seconds"
    done
}

# --- the run -----------------------------------------------------------------------------------

if [ "$list" = no ]; then
    package_groups="build test"
    { wants browser && [ -f tests/browser/run.sh ]; } && package_groups="$package_groups browser"
    { wants package || wants machines; } && package_groups="$package_groups package"
    wants cluster && package_groups="$package_groups cluster"
    wants neighbours && package_groups="$package_groups neighbours"
    echo "tests/run.sh installs Debian packages that are missing (list: config/packages.sh) and, into"
    echo "build-npm, the npm packages of tests/support/npm; all else stays in the build folders."
    # shellcheck disable=SC2086
    install_packages $package_groups || { echo "0 passed, 1 failed"; exit 1; }
    if wants bits || wants emulated; then
        install_packages machines || echo "bits and emulated go without what is missing."
    fi
    wants bench && ! install_packages peers && echo "bench_peers goes without what is missing."
    mkdir -p "$RUN_FOLDER"
    rm -f "$RUN_FOLDER"/*.log "$RUN_FOLDER/results"
    : >"$RUN_FOLDER/results"
fi

builds=check
{ wants check || wants tidy; } && builds="$builds clang"
wants bench && builds="$builds release"
wants fuzz && builds="$builds fuzz"
wants package && builds="$builds package"
for preset in $builds; do
    echo "build/$preset 1800 sh tests/support/build_preset.sh $preset"
done | run_jobs 1
if wants service || wants browser || wants cluster || wants neighbours; then
    echo "build/npm 300 sh -c \"sh tests/support/install_npm.sh build-npm && echo 1 passed, 0 failed\"" |
        run_jobs 1
fi

# Most of these wait for a daemon, a browser or a disk, and are judged by the clock. What only computes runs
# beside them and takes what they leave of the processors. The longest come first, so that none is left
# alone at the end.
{
    wants service && jobs_of_scripts tests/service/test_*.py tests/service/check_*.mjs
    wants browser && jobs_of_scripts tests/browser/run.sh
    wants scenario && jobs_of_scripts tests/scenario/run*.sh tests/scenario/run*.py
    wants edge && jobs_of_programs edge
    true
} | longest_first | run_jobs "$SIDE_BY_SIDE" &
{
    wants wiring && jobs_of_programs wiring
    wants unit && jobs_of_programs unit
    wants reference && jobs_of_programs reference
    wants reference && jobs_of_scripts tests/reference/check_*.py tests/reference/test_*.py \
        tests/fleet/test_*.py
    wants check && jobs_of_scripts tests/unit/check_*.sh tests/unit/check_*.py | grep -v check_tidy
    true
} | longest_first | run_jobs "$JOBS" 10
wait
# Again what waits, and beside it what computes.
{ wants tidy && jobs_of_scripts tests/unit/check_tidy.sh | run_jobs 1 10; } &
wants cluster && jobs_of_scripts tests/cluster/test_*.py | run_jobs 1
wait
# The rest is large, or is about a real disk.
rm -rf "$TMPDIR"
TMPDIR=$(env -u TMPDIR mktemp -d) && chmod 755 "$TMPDIR" || exit 2 # for programs of other accounts
if wants package; then
    jobs_of_scripts tests/package/run.sh tests/package/debian_13.sh tests/package/test_*.py |
        SUBSLAB_BUILD=$PWD/build-package run_jobs 1
fi
# Again what waits, and beside it what computes.
{
    wants bits && jobs_of_scripts tests/machines/bits.sh
    wants emulated && jobs_of_scripts tests/machines/emulated.sh
    wants machines && jobs_of_scripts tests/machines/run.sh
    true
} | run_jobs 1 10 &
wants neighbours && jobs_of_scripts tests/neighbours/test_*.py | run_jobs "$SIDE_BY_SIDE"
wait
wants fuzz && jobs_of_fuzzers | run_jobs 2
if wants bench; then
    SUBSLAB_BUILD=$PWD/build
    export SUBSLAB_BUILD
    jobs_of_scripts tests/bench/bench_*.py tests/bench/bench_*.sh | run_jobs 1
fi

[ "$list" = no ] || exit 0
if wants bench; then
    # The figures themselves, once more, for whoever reads only the end.
    for log in "$RUN_FOLDER"/bench_*.log; do
        [ -f "$log" ] && sed "s/^/    /" "$log"
    done
fi
# What was left out, and why: it is not in the sum.
grep -hE '^ *(not tried|skipped)[: ]' "$RUN_FOLDER"/*.log
sh tests/support/sum_up.sh
