#!/bin/sh
# The page in a real browser (Debian's chromium), judged by axe-core. Pictures of every sheet are
# left in SUBSLAB_BUILD/pictures. Needs root only to install a browser that is missing.
#     SUBSLAB_BUILD   folder with the built subslabd (default build-check, else build)
#     VALIDATORS_FOLDER  folder whose node_modules holds the packages of tests/support/npm
# Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
. config/packages.sh

build=${SUBSLAB_BUILD:-build-check}
[ -x "$build/subslabd" ] || build=build
if [ ! -x "$build/subslabd" ]; then
    echo "subslabd is not built: cmake --preset check && cmake --build --preset check"
    echo "0 passed, 1 failed"
    exit 1
fi
if ! install_packages browser; then
    echo "no browser: apt-get install chromium poppler-utils"
    echo "0 passed, 1 failed"
    exit 1
fi
packages=${VALIDATORS_FOLDER:-build-npm}
sh tests/support/install_npm.sh "$packages" >/dev/null || {
    echo "the npm packages of tests/support/npm could not be installed"
    echo "0 passed, 1 failed"
    exit 1
}

folder=$(mktemp -d) || exit 2
NODE_MODULES=$(cd "$packages" && pwd)/node_modules
export NODE_MODULES
node tests/browser/test_page.mjs "$(cd "$build" && pwd)" "$folder" "$build/pictures"
status=$?
[ "$status" -eq 0 ] || { echo "---- log of the daemon"; tail -n 50 "$folder/daemon.log"; echo "---- end"; }
rm -rf "$folder"
exit "$status"
