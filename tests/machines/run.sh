#!/bin/sh
# Other machines: the package, built for 64-bit and 32-bit ARM in a throw-away Debian 12, for each of them twice to the
# same bytes; what its programs write under emulation is compared byte by byte with what this machine's do, and the test
# programs that take too long for emulated.sh are run.
#     SUBSLAB_BUILD   folder with this machine's programs (default build-check)
# Needs root (or sudo), namespaces, and the mirror that apt uses here; this machine's own packages are left as they
# are. What cannot be tried is said, "not tried: …". Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
PATH=/usr/sbin:/usr/bin:/sbin:/bin
export PATH
. config/packages.sh
. tests/package/checks.sh
. tests/machines/compiler_flags.sh
. tests/machines/programs.sh
. tests/package/debian_root.sh
here=${SUBSLAB_BUILD:-$PWD/build-check}
debs=$PWD/build-machines/debs

machines="arm64 armhf"

if [ "${1:-}" != inside ]; then
    scratch=$(mktemp -d) || exit 2
    trap 'rm -rf "$scratch"' EXIT
    as_root=
    [ "$(id -u)" -eq 0 ] || as_root="sudo -n"
    mkdir -p "$debs"
    if ! $as_root unshare --mount --pid --fork mount -t tmpfs tmpfs /mnt >"$scratch/permitted" 2>&1; then
        echo "not tried: arm64 and armhf: $(head -n 1 "$scratch/permitted")"
        check "the same arithmetic and times are asked of each compiler" asked_of_the_compiler "$here"
        finish
    fi
    # A mount namespace of its own: whatever happens, nothing stays mounted.
    $as_root env JOBS="${JOBS:-1}" SUBSLAB_BUILD="$here" unshare --mount --pid --fork --kill-child --mount-proc \
        sh tests/machines/run.sh inside "$scratch"
    exit
fi

scratch=$2
root=$scratch/root
in_root() {
    env -u TMPDIR DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8 chroot "$root" "$@"
}

# --- a Debian with the libraries of three machines -----------------------------------------------

make_root() {
    in_memory "$root"
    make_debian bookworm "$root" "$debs" "make,cmake,pkg-config,python3,dpkg-dev,file,tzdata,openssl" "$scratch/made" &&
        mount -t proc proc "$root/proc" && mount --bind /dev "$root/dev" &&
        cp /etc/resolv.conf "$root/etc/" && echo '127.0.0.1 localhost' >"$root/etc/hosts" &&
        echo "deb $(debian_mirror) bookworm main" >"$root/etc/apt/sources.list" &&
        mkdir -p "$root/var/cache/apt/archives" && mount --bind "$debs" "$root/var/cache/apt/archives" || return 1
    # Names and addresses, through a proxy where apt needs one here.
    cp -r /etc/apt/apt.conf.d/. "$root/etc/apt/apt.conf.d/" 2>/dev/null
    echo force-unsafe-io >"$root/etc/dpkg/dpkg.cfg.d/unsafe-io"
    compilers=qemu-user foreign=""
    for name in $machines; do
        in_root dpkg --add-architecture "$name"
        compilers="$compilers gcc-$(target_of "$name")" foreign="$foreign $(libraries | sed "s/$/:$name/")"
    done
    # shellcheck disable=SC2086
    in_root apt-get -q -q update >"$scratch/made" 2>&1 &&
        in_root apt-get -q -q -y --no-install-recommends -o APT::Keep-Downloaded-Packages=true install \
            mosquitto mosquitto-clients $compilers $foreign >"$scratch/made" 2>&1
}
began=$(date +%s) epoch=$(source_epoch) # once, for both builds of a package
if ! make_root; then
    tail -n 5 "$scratch/made"
    echo "not tried: arm64 and armhf: no Debian with their compilers, libraries and emulators could be made"
    check "the same arithmetic and times are asked of each compiler" asked_of_the_compiler "$here"
    finish
fi
took "a Debian with compilers, libraries and emulators"
copy_source "$root/source"

# --- for each machine ----------------------------------------------------------------------------

in_source() { # FOLDER NAME COMMAND: in the source there, for that machine
    in_root env SOURCE_DATE_EPOCH="$epoch" JOBS="$JOBS" target="$(target_of "$2")" \
        PKG_CONFIG_LIBDIR="/usr/lib/$(target_of "$2")/pkgconfig:/usr/share/pkgconfig" \
        sh -c 'cd "$1" && shift && eval "$*"' in "$1" "$3"
}
build_package() { # FOLDER NAME
    # shellcheck disable=SC2016
    in_source "$1" "$2" 'cmake --preset package -D CMAKE_SYSTEM_NAME=Linux -D CMAKE_C_COMPILER="$target-gcc" &&
        cmake --build build-package --parallel "$JOBS" -- -k --no-print-directory &&
        cmake --build build-package --target package'
}
build_tests() { # FOLDER NAME PROGRAM…: beside its programs
    folder=$1 name=$2
    shift 2
    # shellcheck disable=SC2016
    in_source "$folder" "$name" 'cmake -D SUBSLAB_TESTS=ON build-package &&
        cmake --build build-package --parallel "$JOBS" --target '"$*"' -- -k --no-print-directory'
}
is_for() { # PROGRAM NAME
    found=$(dpkg-deb -f "$1" Architecture)
    [ "$found" = "$2" ] || { echo "it is for $found"; return 1; }
}
without_warnings() { # a narrowing in a test is no fault there
    ! grep -E '/source/(lib|daemon)/.*warning:' "$scratch/built"
}
run_programs() { # NAME EMULATOR BUILD
    mkdir "$scratch/$1" "$root/tmp/$1"
    long_of "$1" >"$scratch/$1/programs"
    xargs -P "$JOBS" -I '{}' sh -c 'LC_ALL=C.UTF-8 timeout 600 chroot "$1" env \
        TMPDIR="/tmp/$2" CK_TIMEOUT_MULTIPLIER=20 SUBSLAB_BUILD="$4" sh -c "cd /source && exec $3 $4/tests/$5" \
        >"$6/$5" 2>&1; times >>"$6/$5"' run "$root" "$1" "$2" "$3" '{}' "$scratch/$1" <"$scratch/$1/programs"
}

again() { # NAME: the folder of its second build
    echo "/another-folder/$1"
}
check_package() { # NAME: twice, in another folder, by another umask and time zone; and its debug symbols
    mkdir -p "$root$(again "$1")" && cp -r "$root/source/." "$root$(again "$1")/"
    (umask 027 && TZ=Asia/Kathmandu && export TZ && build_package "$(again "$1")" "$1") >"$scratch/built" 2>&1 ||
        tail -n 5 "$scratch/built"
    for made in "$root$(again "$1")"/build-package/subslabd*.*deb; do
        check "$1: the same bytes again: $(basename "$made")" \
            cmp "$made" "$root/$1/source/build-package/$(basename "$made")"
        check "$1: it is for it" is_for "$made" "$1"
        dpkg-deb -x "$made" "$scratch/$1-unpacked"
    done
    for program in subslabd subslabctl; do
        check "$1: the symbols lead to the source of $program" names_the_source "$scratch/$1-unpacked" \
            "$scratch/$1-unpacked" $program
    done
}

bits=""
for name in $machines; do
    mkdir "$root/$name" && cp -r "$root/source" "$root/$name/source"
    build_package "/$name/source" "$name" >"$scratch/built" 2>&1 || tail -n 20 "$scratch/built"
    check "$name: no warning of our code" without_warnings
    took "$name: the package"
    check_package "$name"
    took "$name: the package again"
    # shellcheck disable=SC2046
    build_tests "/$name/source" "$name" tool_bits wiring_test_world $(long_of "$name") >"$scratch/built" 2>&1 ||
        tail -n 20 "$scratch/built"
    took "$name: test programs"
    bits="$bits $name:$(emulator_of "$name"):/$name/source/build-package"
done
# shellcheck disable=SC2086
python3 tests/machines/same_bits.py "$here" "$root" $bits >"$scratch/bits" 2>&1
cat "$scratch/bits"
add_counts "$scratch/bits"
took "the same bits"

for name in $machines; do
    run_programs "$name" "$(emulator_of "$name")" "/$name/source/build-package"
    while read -r program; do
        check "$name: $program" program_passed "$scratch/$name/$program"
    done <"$scratch/$name/programs"
    took "$name: $(grep -c . "$scratch/$name/programs") test programs under emulation"
    slowest "$scratch/$name"
done
echo "left to this machine: $(echo $(names_left_out)); to arm64: $(echo $left_to_arm64)"
finish
