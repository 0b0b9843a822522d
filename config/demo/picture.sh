#!/bin/sh
# The picture in README: the page of a system with a fault on it, out of the demonstration.
#
#     sh config/demo/picture.sh [FILE]     default: config/demo/page.png
#
# Starts the demonstration (config/demo/run.sh; SUBSLAB_BUILD as there), waits until the leak at one
# house is explained, takes the picture with Debian's chromium, and ends the demonstration.
set -eu
cd "$(dirname "$0")/../.."
. config/packages.sh
install_packages browser

file=${1:-config/demo/page.png}
house=mossback-row-11
log=$(mktemp)
profile=$(mktemp -d)
sh config/demo/run.sh >"$log" 2>&1 &
demo=$!
trap 'kill "$demo" 2>/dev/null || true; wait "$demo" 2>/dev/null || true; rm -rf "$log" "$profile"' EXIT

page=
seconds=0
until [ -n "$page" ] && curl -s "$page/systems/$house" | grep -q "How sure"; do
    page=$(sed -n 's|^Page: \(http://[^/]*\)/.*|\1|p' "$log")
    seconds=$((seconds + 1))
    if [ "$seconds" -gt 300 ] || ! kill -0 "$demo" 2>/dev/null; then
        cat "$log" >&2
        echo "config/demo/picture.sh: the demonstration did not come up" >&2
        exit 1
    fi
    sleep 1
done
chromium --headless --no-sandbox --disable-gpu --no-first-run --disable-background-networking \
    --disable-component-update --disable-sync --user-data-dir="$profile" --hide-scrollbars \
    --window-size=940,1460 --screenshot="$file" "$page/systems/$house" >/dev/null 2>&1
bytes=$(wc -c <"$file")
echo "$file: $bytes bytes"
[ "$bytes" -lt 200000 ] || { echo "config/demo/picture.sh: larger than 200 KB" >&2; exit 1; }
