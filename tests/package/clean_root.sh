#!/bin/sh
# Makes a clean Debian with what the package depends on, and runs installed.sh and booted.py on it.
#     clean_root.sh DEB FOLDER DEBS SUITE       as root, in a mount namespace of its own
# The mirror is the one that apt uses here; what it gave is kept in DEBS for the next time. Where
# debootstrap fails (no network), this machine's own files serve instead, under an overlay that takes
# all changes; then it says so, and nothing is booted. Each part ends with "N passed, N failed".
set -u
. tests/package/debian_root.sh
deb=$1 folder=$2 debs=$3 suite=$4
root=$folder/root
began=$(date +%s)

in_memory "$root" || exit 1

debian_by_debootstrap() {
    wanted=$(dpkg-deb -f "$deb" Depends | tr ',' '\n' | sed 's/[|(].*//' | tr -d ' ' | sort -u |
        paste -s -d ,)
    make_debian "$suite" "$root" "$debs" "$wanted" "$folder/debootstrap"
}

this_debian() {
    grep -qx "VERSION_CODENAME=$suite" /etc/os-release
}

debian_by_overlay() {
    rm -rf "${root:?}"/* && mkdir "$folder/upper" "$folder/under" &&
        mount -t overlay -o "lowerdir=/,upperdir=$folder/upper,workdir=$folder/under" overlay "$root" &&
        mount --bind /dev "$root/dev" &&
        # In a container it may forbid to restart anything.
        rm -f "$root/usr/sbin/policy-rc.d"
}

clean=no
if debian_by_debootstrap; then
    clean=yes
    echo "clean root: debootstrap, $(($(date +%s) - began)) s"
elif tail -n 3 "$folder/debootstrap" 2>/dev/null; this_debian && debian_by_overlay; then
    echo "clean root: debootstrap was not possible; this machine's files under an overlay instead"
else
    echo "not tried: installing and booting: neither debootstrap nor an overlay was possible"
    exit 0
fi
mount -t proc proc "$root/proc" || exit 1
mkdir -p "$root/packages"
cp "$deb" "$root/packages/first.deb"
# Own network: the settings as shipped name fixed ports.
unshare --net sh tests/package/installed.sh "$root" "$folder"
if [ "$clean" = yes ]; then
    umount "$root/proc"
    unshare --net sh -c 'ip link set lo up; exec python3 tests/package/booted.py "$1"' booted "$root"
else
    echo "not tried: the units under a service manager: this machine's own services would start too"
fi
