#!/bin/sh
# A thousand seeded worlds with the release build (tests/wiring/world.h). WORLDS: another number.
# Limit: 600 s
set -u
cd "$(dirname "$0")/../.." || exit 2
SEEDS=${WORLDS:-1000} FIRST=${FIRST:-1} ALL=1 exec "${SUBSLAB_BUILD:-build}/tests/wiring_test_world"
