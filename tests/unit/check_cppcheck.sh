#!/bin/sh
# Is cppcheck content with the sources of lib and daemon?
#     check_cppcheck.sh [BUILD]
# BUILD: a build folder with compile_commands.json (default: build-clang, then build-check).
# Prints each finding. Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2

build=${1:-}
for folder in build-clang build-check; do
    [ -z "$build" ] && [ -f "$folder/compile_commands.json" ] && build=$folder
done
if [ -z "$build" ] || [ ! -f "$build/compile_commands.json" ]; then
    echo "FAILED: no compile_commands.json; build the preset clang first"
    echo "0 passed, 1 failed"
    exit 1
fi

scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

# Left out, each for a reason:
#   varFuncNullUB  a NULL that ends a list of arguments: POSIX makes NULL a pointer
#   memleak        pointers that go into a compound literal are taken for lost; the leak sanitizer
#                  watches every test
#   uninitvar      arrays that a loop fills up to the count that is then read; the sanitizers and
#                  clang-tidy see the real ones
# It reads no system headers; the loops of jansson are macros.
cat >"$scratch/jansson_macros.h" <<'MACROS'
#define json_array_foreach(array, i, value) \
    for (i = 0; i < json_array_size(array) && (value = json_array_get(array, i)); i++)
#define json_object_foreach(object, key, value) \
    for (key = json_object_iter_key(json_object_iter(object)); key && (value = next(key)); \
         key = next_key(object, key))
MACROS
findings() { # PROJECT OR FILE…
    cppcheck -q --enable=warning,performance,portability --std=c11 --inline-suppr -j 2 \
        --include="$scratch/jansson_macros.h" \
        --suppress=varFuncNullUB --suppress=memleak --suppress=uninitvar \
        --suppress='*:tests/*' --suppress='*:*/tests/*' --suppress='*:*/embedded/*' \
        --template='FAILED {file}:{line}: {severity} [{id}] {message}' "$@" 2>&1
}

passed=0 failed=0
cat >"$scratch/planted.c" <<'PLANTED'
#include <stdio.h>
int planted(int n);
int planted(int n) {
    int list[4] = {0};
    FILE *file = fopen("x", "r");
    if (!file)
        return 0;
    printf("%s\n", n);
    return list[4];
}
PLANTED
findings "$scratch/planted.c" >"$scratch/planted"
for id in arrayIndexOutOfBounds resourceLeak invalidPrintfArgType_s; do
    if grep -q "\[$id\]" "$scratch/planted"; then
        passed=$((passed + 1))
    else
        echo "FAILED: a planted fault ($id) was not found"
        failed=$((failed + 1))
    fi
done

findings --project="$build/compile_commands.json" -i tests >"$scratch/found"
if [ -s "$scratch/found" ]; then
    cat "$scratch/found"
    failed=$((failed + 1))
else
    passed=$((passed + 1))
fi
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
