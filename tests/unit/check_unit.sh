#!/bin/sh
# Are the units hardened, and does systemd understand them and the account and folder files?
# Judged by systemd's own tools, offline, in a temporary root. Ends with "N passed, N failed".
set -u
export LC_ALL=C SYSTEMD_COLORS=0 SYSTEMD_LOG_LEVEL=notice SYSTEMD_PAGER=
cd "$(dirname "$0")/../.." || exit 2

passed=0 failed=0
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

# expect NAME COMMAND…: the command must succeed
expect() {
    name=$1
    shift
    if "$@" >"$scratch/output" 2>&1; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED $name"
        sed 's/^/    /' "$scratch/output"
    fi
}
refuse() {
    if "$@"; then return 1; else return 0; fi
}

# Exposure of at most 1.5 of 10 (systemd-analyze counts tenths).
is_hardened() {
    systemd-analyze security --no-pager --offline=yes --threshold=15 "$1"
}

# systemd's reading of a unit, with a program that exists in place of ours; any complaint is a fault.
is_clean() {
    mkdir -p "$scratch/units"
    name=$(basename "$1" | sed 's/@/@shard/')
    sed -E 's|^ExecStart=/usr/bin/subslabd |ExecStart=/bin/true |' "$1" >"$scratch/units/$name"
    systemd-analyze verify --man=no --recursive-errors=no "$scratch/units/$name" \
        >"$scratch/verify" 2>&1
    status=$?
    # What is wrong with units of this machine is not ours to judge.
    grep -F "$name" "$scratch/verify" && return 1
    return $status
}

# has_line FILE LINE
has_line() {
    grep -qxF -- "$2" "$1" || { echo "$1 lacks $2"; return 1; }
}

for unit in systemd/subslabd.service systemd/subslabd@.service; do
    expect "$unit is hardened" is_hardened "$unit"
    expect "$unit is understood" is_clean "$unit"
    while read -r line; do
        expect "$unit: $line" has_line "$unit" "$line"
    done <<'LINES'
Type=notify
NotifyAccess=main
ExecReload=/bin/kill -HUP $MAINPID
WatchdogSec=60
Restart=on-failure
StartLimitIntervalSec=0
RestartSec=5
User=subslabd
StateDirectoryMode=0750
RuntimeDirectoryMode=0755
Environment="RES_OPTIONS=timeout:2 attempts:1"
LimitCORE=0
MemoryMax=1G
OOMPolicy=continue
UMask=0027
NoNewPrivileges=yes
CapabilityBoundingSet=
ProtectSystem=strict
MemoryDenyWriteExecute=yes
LINES
done

# The two units say the same but for the shard's names.
directives() { grep -vE '^(#|$)' "$1"; }
same_but_for_names() {
    directives systemd/subslabd.service | sed -e 's/^Description=.*/& (%i)/' \
        -e 's|/etc/subslabd/subslabd.yaml|/etc/subslabd/%i.yaml|' \
        -e 's|doc/subslabd/README.md|doc/subslabd/SCALE.md|' \
        -e 's|/run/subslabd/|/run/subslabd-%i/|' \
        -e 's/^StateDirectory=subslabd$/StateDirectory=subslabd-%i/' \
        -e 's/^RuntimeDirectory=subslabd$/RuntimeDirectory=subslabd-%i/' >"$scratch/single"
    directives systemd/subslabd@.service >"$scratch/shard"
    diff "$scratch/single" "$scratch/shard"
}
expect "subslabd@.service follows subslabd.service" same_but_for_names

# The judges themselves: a bare unit is not hardened, a misspelt one is not clean.
printf '[Service]\nExecStart=/bin/true\n' >"$scratch/bare.service"
expect "a bare unit is found wanting" refuse is_hardened "$scratch/bare.service"
sed 's/^ProtectHome=yes/ProtectHouse=yes/' systemd/subslabd.service >"$scratch/misspelt.service"
expect "a misspelt unit is found" refuse is_clean "$scratch/misspelt.service"

# Account and folders, made in a root of our own.
root=$scratch/root
mkdir -p "$root/etc"
printf 'root:x:0:0:root:/root:/bin/sh\n' >"$root/etc/passwd"
printf 'root:x:0:\n' >"$root/etc/group"
dry_run_names_the_account() {
    SYSTEMD_LOG_LEVEL=info systemd-sysusers --dry-run --root="$root" \
        "$PWD/systemd/subslabd.sysusers.conf" >"$scratch/dry" 2>&1 || return 1
    cat "$scratch/dry"
    grep -qi "creating user 'subslabd'" "$scratch/dry"
}
expect "the account is understood" dry_run_names_the_account
if [ "$(id -u)" -eq 0 ]; then
    expect "the account is made" systemd-sysusers --root="$root" "$PWD/systemd/subslabd.sysusers.conf"
    expect "the account cannot log in" grep -qE '^subslabd:.*:/var/lib/subslabd:/usr/sbin/nologin$' \
        "$root/etc/passwd"
    expect "the folders are made" systemd-tmpfiles --create --root="$root" \
        "$PWD/systemd/subslabd.tmpfiles.conf"
    uid=$(sed -n 's/^subslabd:[^:]*:\([0-9]*\):.*/\1/p' "$root/etc/passwd")
    gid=$(sed -n 's/^subslabd:[^:]*:\([0-9]*\):.*/\1/p' "$root/etc/group")
    is_kept() { # FOLDER WANTED: "mode uid gid"
        found=$(stat -c '%a %u %g' "$root$1")
        [ "$found" = "$2" ] || { echo "$1: $found"; return 1; }
    }
    expect "settings: root writes, the group reads" is_kept /etc/subslabd "750 0 $gid"
    expect "store: the account's own" is_kept /var/lib/subslabd "750 $uid $gid"
else
    echo "not root: account and folders were not made, only read"
fi

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
