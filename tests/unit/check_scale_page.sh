#!/bin/sh
# systemd/SCALE.md: do the figures that follow from others follow from them? And would it be seen if
# they did not?
set -u
cd "$(dirname "$0")/../.." || exit 2
passed=0 failed=0
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
page() {
    python3 tests/support/scale_page.py "$@"
}
expect() { # NAME, after a command: $? is 0
    if [ "$1" -eq 0 ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED $2"
    fi
}
page --check
expect $? "the second table of systemd/SCALE.md"
sed 's/^| outage | 12 |/| outage | 24 |/' systemd/SCALE.md >"$scratch/longer.md"
! page --check "$scratch/longer.md" 2>/dev/null
expect $? "another outage is not noticed"
page --write "$scratch/longer.md" && grep -qF '**46 000 000**' "$scratch/longer.md"
expect $? "an outage of 24 h is not twice that of 12 h: 46 million messages"
grep -v '^| memory |' systemd/SCALE.md >"$scratch/less.md"
! page --check "$scratch/less.md" 2>/dev/null
expect $? "a figure that is gone is not noticed"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
