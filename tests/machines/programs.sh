# shellcheck shell=sh
# The test programs as they are tried for other machines. Source it, after config/packages.sh.

# Left to this machine, for emulated they take minutes; beside each, why nothing is lost. Emulated, a program takes some
# twelve times its processor time.
left_out="
    edge_test_store_cuts              each power cut in turn
    edge_test_store_faults            each call of the disk that fails in turn
    edge_test_store_faults_everywhere the same for every operation
    edge_test_store_memory            each allocation that fails in turn
    edge_test_store_upgrade           random stores of each earlier version
    edge_test_intake_broker           waits for a broker's clock
    edge_test_web_connections         judged by the second: who must not wait waits for the emulator
    edge_test_delivery                the same
    wiring_test_scenarios             each script is a replay, and a replay is compared byte by byte
    wiring_test_world                 one world is compared byte by byte
    unit_test_drift                   2500 made-up houses, over 2 min; bits.sh has its numbers
    unit_test_diagnosis_fleet         made-up houses by the hundred; arithmetic alone
"
names_left_out() {
    echo "$left_out" | awk '{ print $1 }'
}

# Left to one of the two, for they take long and are arithmetic alone, or replays (see above).
left_to_arm64="wiring_test_replay wiring_test_replay_files unit_test_control_chart unit_test_daily unit_test_diagnosis
    unit_test_second_look unit_test_trend unit_test_assessment unit_test_year_assessment unit_test_wear"
left_out_of() { # NAME
    [ "$1" = arm64 ] || echo "$left_to_arm64"
}

left_out_is_there() { # PROGRAM…: besides
    for program in $(names_left_out) $(left_out_of armhf) "$@"; do
        [ -f "tests/${program%%_*}/${program#*_}.c" ] || { echo "there is no $program"; return 1; }
    done
}

# programs_of BUILD NAME: the test programs that are tried, the longest first, so that none is left alone at the end
long_ones="control_chart|unit_test_daily$|test_diagnosis|test_store$|series|second_look|test_replay|test_announce"
programs_of() {
    # shellcheck disable=SC2046
    left=" $(echo $(names_left_out) $(left_out_of "$2")) "
    for program in "$1"/tests/unit_test_* "$1"/tests/reference_test_* "$1"/tests/edge_test_* "$1"/tests/wiring_test_*; do
        case $left in
        *" $(basename "$program") "*) ;;
        *) basename "$program" ;;
        esac
    done | awk -v long="$long_ones" '$0 ~ long { print; next } { rest = rest $0 "\n" } END { printf "%s", rest }'
}

# Each program's log ends with what the shell's `times` says of it.
program_passed() { # LOG
    grep -qE '^[1-9][0-9]* passed, 0 failed$' "$1" || { tail -n 20 "$1"; return 1; }
}
slowest() { # LOGS: for whoever looks for what to leave out
    for log in "$1"/*_test_*; do
        tail -n 1 "$log" | tr 'ms' '  ' | awk -v name="$(basename "$log")" \
            '{ printf "    %5.1f s of processor %s\n", 60 * $1 + $2 + 60 * $3 + $4, name }'
    done | sort -rn | head -n 5
}

# libraries: the packages that the programs are built with, of whatever machine
libraries() {
    # shellcheck disable=SC2154 # of config/packages.sh
    for package in $packages_build check; do
        case $package in lib*-dev | check) echo "$package" ;; esac
    done
}
