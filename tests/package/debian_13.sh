#!/bin/sh
# The next Debian: builds the package in a Debian 13 with its compiler and its libraries, and tries it in a clean
# one, as run.sh does with this Debian's.
# Needs root (or sudo), namespaces and the mirror; what cannot be tried is said, "not tried: …". Ends with
# "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
PATH=/usr/sbin:/usr/bin:/sbin:/bin
export PATH
. config/packages.sh
. tests/package/checks.sh
. tests/package/debian_root.sh
suite=trixie
debs=$PWD/build-package/debs-$suite

if [ "${1:-}" != inside ]; then
    scratch=$(mktemp -d) || exit 2
    trap 'rm -rf "$scratch"' EXIT
    mkdir -p "$debs"
    if ! mounts_permitted "$scratch/permitted"; then
        echo "not tried: Debian 13: $(head -n 1 "$scratch/permitted")"
        check "the package is for it too" test -s systemd/package/cpack.cmake
        finish
    fi
    in_own_mounts "${SUBSLAB_BUILD:-}" sh tests/package/debian_13.sh inside "$scratch"
    exit
fi

scratch=$2
root=$scratch/build-root
list() { # WORD…: as debootstrap wants them
    echo "$*" | tr ' ' ','
}
in_root() {
    env -u TMPDIR DEBIAN_FRONTEND=noninteractive chroot "$root" "$@"
}
in_memory "$root"
# shellcheck disable=SC2046,SC2086,SC2154 # packages_build is of config/packages.sh
if ! make_debian $suite "$root" "$debs" "$(list $packages_build dpkg-dev file)" "$scratch/made"; then
    tail -n 5 "$scratch/made"
    echo "not tried: Debian 13: debootstrap could not make one"
    check "debootstrap knows it" test -e /usr/share/debootstrap/scripts/$suite
    finish
fi
copy_source "$root/source"
build_package() {
    in_root env SOURCE_DATE_EPOCH="$(source_epoch)" sh -c 'cd /source && cmake --preset package &&
        cmake --build build-package --parallel "$1" && cmake --build build-package --target package' build "${JOBS:-1}"
}
without_warnings() {
    ! grep -E 'warning:' "$scratch/built"
}
build_package >"$scratch/built" 2>&1 || tail -n 30 "$scratch/built"
check "its compiler has no warning" without_warnings
deb=$(find "$root/source/build-package" -maxdepth 1 -name 'subslabd_*.deb')
check "the package is built there" test -s "$deb"
if [ -s "$deb" ]; then
    cp "$deb" "$scratch/"
    umount "$root" 2>/dev/null
    sh tests/package/clean_root.sh "$scratch/$(basename "$deb")" "$scratch" "$debs" $suite >"$scratch/installed" 2>&1
    cat "$scratch/installed"
    add_counts "$scratch/installed"
fi
finish
