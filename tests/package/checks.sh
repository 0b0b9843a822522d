# shellcheck shell=sh
# What the package's tests share. Source it.
passed=0 failed=0

# check NAME COMMAND…: passes when the command does; its output is shown when it does not
check() {
    check_name=$1
    shift
    # Not in a subshell: a command may leave a daemon behind, and its number.
    check_log=${check_log:-$(mktemp)}
    if "$@" >"$check_log" 2>&1; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED $check_name"
        sed 's/^/    /' "$check_log"
    fi
}

# add_counts LOG: of the parts that end with a count of their own
add_counts() {
    counts=$(grep -E '^[0-9]+ passed, [0-9]+ failed$' "$1")
    passed=$(echo "$counts" | awk -v sum="$passed" '{ sum += $1 } END { print sum }')
    failed=$(echo "$counts" | awk -v sum="$failed" '{ sum += $3 } END { print sum }')
    if [ -z "$counts" ] && ! grep -q '^not tried: ' "$1"; then
        echo "FAILED $1: it ended without a count"
        failed=$((failed + 1))
    fi
}

# names_the_source UNPACKED SYMBOLS PROGRAM: from the bytes of the unpacked package alone to the line of its main, of
# whatever machine
names_the_source() {
    id=$(readelf -n "$1/usr/bin/$3" | sed -n 's/.*Build ID: //p')
    file=$2/usr/lib/debug/.build-id/$(echo "$id" | cut -c -2)/$(echo "$id" | cut -c 3-).debug
    at=$(readelf -sW "$file" | awk '$4 == "FUNC" && $8 == "main" { print $2 }')
    llvm-addr2line -e "$file" "0x$at" | grep -E "^\./(.*/)?daemon/$3\.c:[0-9]+"
}

# finish: the last line and the exit status
finish() {
    rm -f "${check_log:-}"
    echo "$passed passed, $failed failed"
    [ "$failed" -eq 0 ]
    exit
}
