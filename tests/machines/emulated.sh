#!/bin/sh
# The test programs for 32-bit ARM with times of 64 bits, of all machines the most unlike this one: built by this
# machine's cross compiler with Debian's libraries for it, which are unpacked and not installed, and run under
# emulation. What takes minutes there is left to this machine and to run.sh (programs.sh).
#     emulated.sh [armhf | arm64]
# Needs the mirror that apt uses here. What cannot be tried is said, "skipped: …". Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
. config/packages.sh
. tests/package/checks.sh
. tests/machines/programs.sh
name=${1:-armhf}
case $name in
armhf) target=arm-linux-gnueabihf emulator=qemu-arm ;;
arm64) target=aarch64-linux-gnu emulator=qemu-aarch64 ;;
*) echo "emulated.sh: no machine $name" >&2 && exit 2 ;;
esac
# Left to run.sh besides: half a minute of processor and more.
long="edge_test_series_arrivals edge_test_series_pack_faults edge_test_series_pack_twins edge_test_outbox
    edge_test_store_check reference_test_statistics_reference reference_test_time_zone_reference
    unit_test_daily_radon unit_test_silence unit_test_year_mean wiring_test_announce wiring_test_announce_often
    wiring_test_extremes"
build=$PWD/build-$name
root=$build/libraries
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

# An apt of its own, for which the other machine is the only one: this machine's packages stay as they are.
unpack_libraries() {
    mkdir -p "$scratch/apt/lists/partial" "$scratch/apt/archives/partial" "$root"
    : >"$scratch/apt/status"
    cat >"$scratch/apt.conf" <<CONF
APT::Architecture "$name";
APT::Architectures { "$name"; };
APT::Install-Recommends "false";
Dir::State "$scratch/apt";
Dir::State::status "$scratch/apt/status";
Dir::Cache "$scratch/apt";
CONF
    APT_CONFIG=$scratch/apt.conf apt-get -q -q update # one source without this machine is no reason to stop
    # shellcheck disable=SC2046
    APT_CONFIG=$scratch/apt.conf apt-get -q -q -y -d install $(libraries) || return 1
    for package in "$scratch"/apt/archives/*.deb; do
        dpkg-deb -x "$package" "$root" || return 1
    done
    # What a link names from / on is here below.
    find "$root" -lname '/*' | while read -r link; do
        ln -sfn "$root$(readlink "$link")" "$link"
    done
}
build_programs() {
    export PKG_CONFIG_SYSROOT_DIR="$root" PKG_CONFIG_LIBDIR="$root/usr/lib/$target/pkgconfig"
    cmake --preset release -B "$build" -D CMAKE_SYSTEM_NAME=Linux -D CMAKE_C_COMPILER="$target-gcc" \
        -D CMAKE_SYSROOT="$root" -D SUBSLAB_WERROR=OFF &&
        cmake --build "$build" --parallel "${JOBS:-1}" -- -k --no-print-directory
}
without_warnings() { # a narrowing in a test is no fault there
    ! grep -E '/(lib|daemon)/.*warning:' "$scratch/built"
}
run_programs() {
    mkdir "$scratch/logs"
    programs_of "$build" "$name" | grep -vxE "$(echo $long | tr ' ' '|')" |
        QEMU_LD_PREFIX=$root CK_TIMEOUT_MULTIPLIER=40 SUBSLAB_BUILD=$build xargs -P "${JOBS:-1}" -I '{}' \
            sh -c 'timeout 600 "$1" "$2/tests/$4" >"$3/$4" 2>&1; times >>"$3/$4"' run "$emulator" "$build" "$scratch/logs" '{}'
}

# shellcheck disable=SC2086
check "what is left out is there" left_out_is_there $long
missing=
for tool in "$target-gcc" "$emulator"; do
    command -v "$tool" >/dev/null || missing="no $tool"
done
[ -n "$missing" ] || unpack_libraries >"$scratch/unpacked" 2>&1 || missing=$(tail -n 1 "$scratch/unpacked")
if [ -n "$missing" ]; then
    echo "skipped: $name: $missing"
    finish
fi
build_programs >"$scratch/built" 2>&1 || tail -n 20 "$scratch/built"
check "$name: no warning of our code" without_warnings
run_programs
for log in "$scratch"/logs/*; do
    check "$name: $(basename "$log")" program_passed "$log"
done
check "$name: programs were found" test "$(find "$scratch/logs" -type f | grep -c .)" -ge 90
slowest "$scratch/logs"
echo "left to run.sh and this machine:" $(names_left_out) $(left_out_of "$name") $long
finish
