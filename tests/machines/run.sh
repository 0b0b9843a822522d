#!/bin/sh
# Other machines: the package and the test programs, built for 64-bit and 32-bit ARM in a throw-away Debian 12; the
# test programs run under emulation, and what the programs write is compared byte by byte with what this machine's do.
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

# name, as Debian's compilers call it, emulator
machines="arm64,aarch64-linux-gnu,qemu-aarch64 armhf,arm-linux-gnueabihf,qemu-arm"

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
took() { # WHAT: how long since the last
    now=$(date +%s)
    echo "$1: $((now - began)) s"
    began=$now
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
    for machine in $machines; do
        name=${machine%%,*} target=${machine#*,}
        in_root dpkg --add-architecture "$name"
        compilers="$compilers gcc-${target%,*}" foreign="$foreign $(libraries | sed "s/$/:$name/")"
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

build_in() { # FOLDER TARGET DEFINITION…: the package of the source in FOLDER
    folder=$1 target=$2
    shift 2
    in_root env SOURCE_DATE_EPOCH="$epoch" JOBS="$JOBS" \
        PKG_CONFIG_LIBDIR="/usr/lib/$target/pkgconfig:/usr/share/pkgconfig" sh -c '
            cd "$1" && target=$2 && shift 2 &&
            cmake --preset package -D CMAKE_SYSTEM_NAME=Linux -D CMAKE_C_COMPILER="$target-gcc" "$@" &&
            cmake --build build-package --parallel "$JOBS" -- -k --no-print-directory &&
            cmake --build build-package --target package' build "$folder" "$target" "$@"
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
    programs_of "$root$3" "$1" >"$scratch/$1/programs"
    xargs -P "$JOBS" -I '{}' sh -c 'LC_ALL=C.UTF-8 timeout 600 chroot "$1" env \
        TMPDIR="/tmp/$2" CK_TIMEOUT_MULTIPLIER=20 SUBSLAB_BUILD="$4" sh -c "cd /source && exec $3 $4/tests/$5" \
        >"$6/$5" 2>&1; times >>"$6/$5"' run "$root" "$1" "$2" "$3" '{}' "$scratch/$1" <"$scratch/$1/programs"
}

bits=""
for machine in $machines; do
    name=${machine%%,*} emulator=${machine##*,} target=${machine#*,} target=${target%,*}
    mkdir "$root/$name" && cp -r "$root/source" "$root/$name/source"
    build=/$name/source/build-package
    build_in "/$name/source" "$target" -D SUBSLAB_TESTS=ON >"$scratch/built" 2>&1 || tail -n 20 "$scratch/built"
    check "$name: no warning of our code" without_warnings
    deb=$(find "$root$build" -maxdepth 1 -name 'subslabd_*.deb')
    check "$name: the package" is_for "$deb" "$name"
    took "$name: built"
    bits="$bits $name:$emulator:$build"
done
# shellcheck disable=SC2086
python3 tests/machines/same_bits.py "$here" "$root" $bits >"$scratch/bits" 2>&1
cat "$scratch/bits"
add_counts "$scratch/bits"
took "the same bits"

for machine in $machines; do
    name=${machine%%,*} emulator=${machine##*,} build=/${machine%%,*}/source/build-package
    run_programs "$name" "$emulator" "$build"
    while read -r program; do
        check "$name: $program" program_passed "$scratch/$name/$program"
    done <"$scratch/$name/programs"
    check "$name: programs were found" test "$(grep -c . "$scratch/$name/programs")" -ge 90
    took "$name: $(grep -c . "$scratch/$name/programs") test programs under emulation"
    slowest "$scratch/$name"
done
echo "left to this machine: $(echo $(names_left_out)); to arm64: $(echo $left_to_arm64)"

# --- the package for arm64 once more -------------------------------------------------------------

again="/another-folder/source"
mkdir -p "$root$again" && cp -r "$root/source/." "$root$again/"
build_in "$again" aarch64-linux-gnu >"$scratch/built" 2>&1 || tail -n 5 "$scratch/built"
for made in "$root"/arm64/source/build-package/*.*deb; do
    check "arm64: the same bytes again: $(basename "$made")" \
        cmp "$made" "$root$again/build-package/$(basename "$made")"
done
took "arm64: the package again"
finish
