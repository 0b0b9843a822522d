#!/bin/sh
# The same arithmetic on every machine: tool_bits, built for 64-bit and 32-bit ARM with this machine's cross compilers,
# run under emulation, and with the C library musl prints byte for byte what it prints here. Then it is built as the
# processor would like it, with a * b + c in one step: that must be seen.
#     SUBSLAB_BUILD   folder with this machine's programs (default build-check)
# What cannot be tried is said, "skipped: …". Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
. tests/package/checks.sh
. tests/machines/compiler_flags.sh
. tests/machines/programs.sh
here=${SUBSLAB_BUILD:-$PWD/build-check}
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

# build PROGRAM COMPILER OPTION…: a library, so that only what the tool needs is linked
build() {
    program=$1 compiler=$2
    shift 2
    mkdir "$program.objects" &&
        grep -L '<jansson.h>' lib/analysis/*.c lib/measure/*.c lib/pack/*.c | tr '\n' '\0' |
        xargs -0 -P "${JOBS:-1}" -n 8 sh -c 'folder=$1 compiler=$2 options=$3 && shift 3 && for source; do
            $compiler $options -c "$source" -o "$folder/$(basename "$source" .c).o" || exit 255
        done' each "$program.objects" "$compiler" "-std=gnu17 -O2 -D_GNU_SOURCE -D_TIME_BITS=64 \
            -D_FILE_OFFSET_BITS=64 -Ilib $*" &&
        ar rcs "$program.a" "$program.objects"/*.o &&
        "$compiler" -std=gnu17 -O2 -static -D_GNU_SOURCE -D_TIME_BITS=64 -D_FILE_OFFSET_BITS=64 -Ilib "$@" \
            tests/support/tool_bits.c "$program.a" -lm -o "$program"
}
same_as_here() { # NAME EMULATOR
    "$2" "$scratch/$1" >"$scratch/$1.bits" && cmp "$scratch/here.bits" "$scratch/$1.bits"
}
another_is_seen() { # NAME EMULATOR
    "$2" "$scratch/$1" >"$scratch/$1.bits" && ! cmp -s "$scratch/here.bits" "$scratch/$1.bits"
}

check "the same arithmetic and times are asked of each compiler" asked_of_the_compiler "$here"
"$here/tests/tool_bits" >"$scratch/here.bits"
check "this machine's bits" test "$(grep -c . "$scratch/here.bits")" -eq 380
for name in arm64 armhf; do
    compiler=$(target_of $name)-gcc emulator=$(emulator_of $name)
    if ! command -v "$compiler" >/dev/null || ! command -v "$emulator" >/dev/null; then
        echo "skipped: $name: no $compiler or no $emulator"
        continue
    fi
    check "$name: builds" build "$scratch/$name" "$compiler" -ffp-contract=off
    check "$name: the same bits as here" same_as_here "$name" "$emulator"
done
check "musl: builds" build "$scratch/musl" musl-gcc -ffp-contract=off
check "musl: the same bits as here" same_as_here musl env
if [ -x "$scratch/arm64" ]; then # armhf has no such instruction
    check "arm64, in one step: builds" build "$scratch/one_step" aarch64-linux-gnu-gcc -ffp-contract=fast
    check "arm64, in one step: it is seen" another_is_seen one_step qemu-aarch64
fi
finish
