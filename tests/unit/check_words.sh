#!/bin/sh
# Does any tracked file hold something of one machine or one network: a path of somebody's own
# folders, the host of a package registry or of anybody but the few named below, a key? Patterns are
# written so that they do not find themselves. Ends with "N passed, N failed".
set -u
export LC_ALL=C.UTF-8
cd "$(dirname "$0")/../.." || exit 2

passed=0 failed=0
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

if git rev-parse --is-inside-work-tree >/dev/null 2>&1; then
    git ls-files -z
else
    find . -type f -not -path './build*' -not -path '*/node_modules/*' -print0
fi >"$scratch/files"

# name <tab> extended regular expression <tab> a line that it must find (a blank where it says ~)
cat >"$scratch/patterns" <<'TABLE'
folder of one person	(^|[^A-Za-z0-9_.])/([h]ome|[U]sers|[r]oot|[w]ork|[w]orkspace)/[A-Za-z0-9_.-]	see /~home/somebody/file
temporary build folder	/[t]mp/build	in /~tmp/build-x
address of a package in a lock file	"[r]esolved"[[:space:]]*:	"~resolved": "x"
registry setting	^[[:space:]]*(@[a-z]+:)?([r]egistry|[i]ndex-url|[p]roxy)[[:space:]]*=[[:space:]]*[a-z]+:	~registry=https:x
private key	BEGIN ([A-Z]+ )?[P]RIVATE KEY-----[[:space:]]*$	-----BEGIN ~PRIVATE KEY-----
TABLE

while IFS='	' read -r name pattern sample; do
    if ! printf '%s\n' "$sample" | tr -d '~' | grep -qE -- "$pattern"; then
        echo "FAILED $name: its own sample was not found"
        failed=$((failed + 1))
        continue
    fi
    found=$(xargs -0 -r grep -nIE -- "$pattern" <"$scratch/files" 2>/dev/null)
    if [ -z "$found" ]; then
        passed=$((passed + 1))
    else
        echo "FAILED $name:"
        printf '%s\n' "$found" | cut -c 1-160 | sed 's/^/    /'
        failed=$((failed + 1))
    fi
done <"$scratch/patterns"

# Hosts in addresses: names reserved for examples (RFC 2606), this machine, and published sources.
foreign_hosts() {
    xargs -0 -r grep -noIE '[a-z]+://[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*\.[A-Za-z]{2,}' 2>/dev/null |
        grep -vE '\.(example|test|invalid|localhost)$|://www\.(standardwebhooks\.com|w3\.org)$'
}
printf 'see %s://packages.%s.org/x and http://a.example/\n' https planted >"$scratch/planted"
if [ "$(printf '%s\0' "$scratch/planted" | foreign_hosts | grep -c .)" -ne 1 ]; then
    echo "FAILED hosts: a planted host was not found"
    failed=$((failed + 1))
fi
found=$(foreign_hosts <"$scratch/files")
if [ -z "$found" ]; then
    passed=$((passed + 1))
else
    echo "FAILED hosts that nobody needs to know:"
    printf '%s\n' "$found" | sed 's/^/    /'
    failed=$((failed + 1))
fi
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
