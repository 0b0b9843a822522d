#!/bin/sh
# install_npm: the independent judges of tests/support/npm, as locked there, into a folder outside
# the tracked files. Does nothing when that folder holds them already.
#     install_npm.sh FOLDER
set -eu
folder=$1 here=$(dirname "$0")/npm
if cmp -s "$here/package-lock.json" "$folder/installed-lock.json"; then
    exit 0
fi
mkdir -p "$folder"
cp "$here/package.json" "$here/package-lock.json" "$here/.npmrc" "$folder/"
(cd "$folder" && npm ci --no-audit --no-fund --ignore-scripts)
cp "$folder/package-lock.json" "$folder/installed-lock.json"
