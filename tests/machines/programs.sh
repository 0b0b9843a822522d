# shellcheck shell=sh
# Other machines, and the test programs as they are tried for them. Source it, after config/packages.sh.

target_of() { # NAME: as compilers call it
    case $1 in arm64) echo aarch64-linux-gnu ;; armhf) echo arm-linux-gnueabihf ;; esac
}
emulator_of() { # NAME
    case $1 in arm64) echo qemu-aarch64 ;; armhf) echo qemu-arm ;; esac
}

# Left to this machine by both, for emulated they take minutes; beside each, why nothing is lost. Emulated, a program
# takes some twelve times its processor time.
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

# Left to run.sh by emulated.sh: half a minute of processor and more.
long="wiring_test_replay unit_test_wear edge_test_series_arrivals edge_test_series_pack_faults
    edge_test_series_pack_twins edge_test_outbox edge_test_store_check reference_test_statistics_reference reference_test_time_zone_reference
    unit_test_daily_radon unit_test_silence unit_test_year_mean wiring_test_announce wiring_test_announce_often
    wiring_test_extremes"

left_out_is_there() {
    for program in $(names_left_out) $(left_out_of armhf) $long; do
        [ -f "tests/${program%%_*}/${program#*_}.c" ] || { echo "there is no $program"; return 1; }
    done
}

# programs_of NAME: the test programs that are tried, the longest first, so that none is left alone at the end
early="control_chart|unit_test_daily$|test_diagnosis|test_store$|series|second_look|test_replay|test_announce"
programs_of() {
    # shellcheck disable=SC2046
    left=" $(echo $(names_left_out) $(left_out_of "$1")) "
    for source in tests/unit/test_*.c tests/reference/test_*.c tests/edge/test_*.c tests/wiring/test_*.c; do
        folder=${source%/*}
        program=${folder#tests/}_$(basename "$source" .c)
        case $left in
        *" $program "*) ;;
        *) echo "$program" ;;
        esac
    done | awk -v early="$early" '$0 ~ early { print; next } { rest = rest $0 "\n" } END { printf "%s", rest }'
}

# shellcheck disable=SC2086
named_long="$(echo $long | tr ' ' '|')"
quick_of() { # NAME: what emulated.sh tries
    programs_of "$1" | grep -vxE "$named_long"
}
long_of() { # NAME: what run.sh tries
    programs_of "$1" | grep -xE "$named_long"
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

took() { # WHAT: how long since the last; the first since `began`
    now=$(date +%s)
    echo "$1: $((now - began)) s"
    began=$now
}

# libraries: the packages that the programs are built with, of whatever machine
libraries() {
    # shellcheck disable=SC2154 # of config/packages.sh
    for package in $packages_build check; do
        case $package in lib*-dev | check) echo "$package" ;; esac
    done
}
