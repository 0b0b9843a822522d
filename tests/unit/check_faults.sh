#!/bin/sh
# Does tests/FAULTS.md tell the truth? Its rows are numbered without a gap, each names a test or a
# reason, and each test it names is there and runs. Plants faults in copies first. Ends with
# "N passed, N failed".
set -u
export LC_ALL=C.UTF-8
cd "$(dirname "$0")/.." || exit 2

ROWS=112
passed=0 failed=0
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

# is_run FILE CASE: does FILE hold the test CASE, and is it one that is run?
is_run() {
    case $1 in
    *.c) grep -q "START_TEST($2)" "$1" && [ "$(grep -cw -- "$2" "$1")" -ge 2 ] ;;
    *.py) grep -A 1 -E '^@(suite\.test|case)' "$1" | grep -q "^def $2(" ;;
    *) grep -qF -- "$2" "$1" ;;
    esac
}

# faults_of TABLE: one line for each thing that is wrong in it.
faults_of() {
    grep -E '^\| *[0-9]+ *\|' "$1" >"$scratch/rows"
    awk -F '|' -v rows=$ROWS '
        { n = $2 + 0; if (n != ++expected) { print "row " n " where " expected " is due"; expected = n } }
        NF != 6 { print "row " n ": " NF - 2 " columns, not 4" }
        $3 ~ /^ *$/ || $4 ~ /^ *$/ { print "row " n ": an empty column" }
        $5 !~ /`[^`]+`|not tried: [^ ]+ [^ ]+/ { print "row " n ": neither a test nor a reason" }
        END { if (expected != rows) print expected + 0 " rows, not " rows }' "$scratch/rows"
    # The last column holds `FILE: CASE` or `FILE`.
    awk -F '|' '{ n = $2 + 0; parts = split($5, part, "`"); if (parts % 2 == 0) print n "\t?";
        for (i = 2; i <= parts; i += 2) print n "\t" part[i] }' "$scratch/rows" >"$scratch/tests"
    while IFS='	' read -r row test; do
        file=${test%%: *} case=
        [ "$file" = "$test" ] || case=${test#*: }
        if [ ! -f "$file" ]; then
            echo "row $row: there is no tests/$file"
        elif [ -n "$case" ] && ! is_run "$file" "$case"; then
            echo "row $row: tests/$file runs no $case"
        elif [ -z "$case" ]; then
            case $file in
            *.c | *.py | *.mjs) case $file in fuzz/* | support/*) ;; *) echo "row $row: $file without a case" ;; esac ;;
            esac
        fi
    done <"$scratch/tests"
}

# planted NAME SED-SCRIPT WORDS: the table so changed must be found faulty, with these words.
planted() {
    sed "$2" FAULTS.md >"$scratch/planted.md"
    if faults_of "$scratch/planted.md" | grep -q -- "$3"; then
        passed=$((passed + 1))
    else
        echo "FAILED: $1 was not found"
        failed=$((failed + 1))
    fi
}

planted "a row that is missing" '/^| 5 |/d' 'row 6 where 5 is due'
planted "the last row missing" "/^| $ROWS |/d" "rows, not $ROWS"
planted "a file that is not there" '/^| 1 |/s/test_trouble/test_truoble/' 'row 1: there is no'
planted "a case that is not there" '/^| 1 |/s/broker_not_there_at_start/broker_not_here/' 'row 1: .* runs no'
planted "a helper that is no test" '/^| 1 |/s/broker_not_there_at_start/low_and_good/' 'row 1: .* runs no'
planted "a C function that is no test" '/^| 1 |/s/no_broker_is_told_once/connect_fully/' 'row 1: .* runs no'
planted "a row without test or reason" '/^| 1 |/s/`//g' 'row 1: neither'
planted "a file without a case" '/^| 1 |/s/: broker_not_there_at_start//' 'row 1: .* without a case'

faults_of FAULTS.md >"$scratch/found"
if [ -s "$scratch/found" ]; then
    sed 's/^/FAILED tests\/FAULTS.md, /' "$scratch/found"
    failed=$((failed + $(grep -c . "$scratch/found")))
else
    passed=$((passed + ROWS))
fi
echo "$(grep -c . "$scratch/tests") tests named, $(grep -c 'not tried: ' FAULTS.md) rows with a reason instead"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
