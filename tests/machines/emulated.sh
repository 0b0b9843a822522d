#!/bin/sh
# The test programs for 64-bit and 32-bit ARM (there with times of 64 bits): built by this machine's cross compilers
# with Debian's libraries for them, which are unpacked and not installed, and run under emulation. What takes minutes
# there is left to this machine and to run.sh (programs.sh).
#     emulated.sh [arm64 | armhf]…
# Needs the mirror that apt uses here. What cannot be tried is said, "skipped: …". Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
. config/packages.sh
. tests/package/checks.sh
. tests/machines/programs.sh
names=${*:-arm64 armhf}
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
build_of() { # NAME
    echo "$PWD/build-$1"
}

# An apt of its own, for which the other machine is the only one: this machine's packages stay as they are.
unpack_libraries() { # NAME ROOT
    own=$scratch/$1-apt
    mkdir -p "$own/lists/partial" "$own/archives/partial" "$2"
    : >"$own/status"
    cat >"$own.conf" <<CONF
APT::Architecture "$1";
APT::Architectures { "$1"; };
APT::Install-Recommends "false";
Dir::State "$own";
Dir::State::status "$own/status";
Dir::Cache "$own";
CONF
    APT_CONFIG=$own.conf apt-get -q -q update # one source without this machine is no reason to stop
    # shellcheck disable=SC2046
    APT_CONFIG=$own.conf apt-get -q -q -y -d install $(libraries) || return 1
    for package in "$own"/archives/*.deb; do
        dpkg-deb -x "$package" "$2" || return 1
    done
    # What a link names from / on is here below.
    find "$2" -lname '/*' | while read -r link; do
        ln -sfn "$2$(readlink "$link")" "$link"
    done
}
prepare() { # NAME: what is missing is its last line
    for tool in "$(target_of "$1")-gcc" "$(emulator_of "$1")"; do
        command -v "$tool" >/dev/null || { echo "no $tool"; return 1; }
    done
    build=$(build_of "$1") root=$(build_of "$1")/libraries
    unpack_libraries "$1" "$root" &&
        PKG_CONFIG_SYSROOT_DIR="$root" PKG_CONFIG_LIBDIR="$root/usr/lib/$(target_of "$1")/pkgconfig" \
            cmake --preset release -B "$build" -D CMAKE_SYSTEM_NAME=Linux -D CMAKE_C_COMPILER="$(target_of "$1")-gcc" \
            -D CMAKE_SYSROOT="$root" -D SUBSLAB_WERROR=OFF
}
build_programs() { # NAME
    # shellcheck disable=SC2046
    cmake --build "$(build_of "$1")" --parallel "${JOBS:-1}" --target subslabd subslabctl $(quick_of "$1") \
        -- -k --no-print-directory
}
without_warnings() { # NAME: a narrowing in a test is no fault there
    ! grep -E '/(lib|daemon)/.*warning:' "$scratch/$1-built"
}
run_programs() { # standard input has lines of NAME PROGRAM
    mkdir "$scratch/logs"
    # shellcheck disable=SC2016
    CK_TIMEOUT_MULTIPLIER=40 xargs -P "${JOBS:-1}" -L 1 sh -c '. tests/machines/programs.sh
        export QEMU_LD_PREFIX="$PWD/build-$2/libraries" SUBSLAB_BUILD="$PWD/build-$2"
        timeout 600 "$(emulator_of "$2")" "$SUBSLAB_BUILD/tests/$3" >"$1/$2-$3" 2>&1
        times >>"$1/$2-$3"' run "$scratch/logs"
}

check "what is left out is there" left_out_is_there
began=$(date +%s)
for name in $names; do # side by side, for they wait for the mirror
    prepare "$name" >"$scratch/$name-prepared" 2>&1 && : >"$scratch/$name-is-ready" &
done
wait
took "libraries"
for name in $names; do
    if [ ! -e "$scratch/$name-is-ready" ]; then
        echo "skipped: $name: $(tail -n 1 "$scratch/$name-prepared")"
        continue
    fi
    build_programs "$name" >"$scratch/$name-built" 2>&1 || tail -n 20 "$scratch/$name-built"
    check "$name: no warning of our code" without_warnings "$name"
    took "$name: built"
    quick_of "$name" | sed "s/^/$name /" >>"$scratch/programs"
done
[ -e "$scratch/programs" ] || finish
run_programs <"$scratch/programs"
took "run"
while read -r name program; do
    check "$name: $program" program_passed "$scratch/logs/$name-$program"
done <"$scratch/programs"
slowest "$scratch/logs"
for name in $names; do
    echo "$name: left to run.sh: $(long_of "$name" | tr '\n' ' ')"
done
echo "left to this machine: $(names_left_out | tr '\n' ' ')and for armhf to arm64: $left_to_arm64"
finish
