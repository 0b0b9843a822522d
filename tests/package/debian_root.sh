# shellcheck shell=sh
# Throw-away Debians. Source it.

# debian_mirror: that of the packages which apt uses here
debian_mirror() {
    (
        . /etc/os-release
        apt-get indextargets --format '$(REPO_URI) $(CODENAME) $(COMPONENT)' 'Created-By: Packages' |
            sed -n "s/ $VERSION_CODENAME main\$//p" | head -n 1
    )
}

# in_memory FOLDER: where there is room for it, for nothing of it has to last
in_memory() {
    mkdir -p "$1"
    [ "$(awk '/^MemAvailable/ { print int($2 / 1024) }' /proc/meminfo)" -le 5000 ] ||
        mount -t tmpfs -o size=4g,mode=755 tmpfs "$1"
}

# as_root: what makes root of us
[ "$(id -u)" -eq 0 ] && as_root= || as_root="sudo -n"

# mounts_permitted LOG [OPTION]: may we mount in a namespace of our own (OPTION: of unshare, one more)? Why not is in LOG
mounts_permitted() {
    # shellcheck disable=SC2086 # no option is no word
    $as_root unshare --mount --pid ${2:-} --fork mount -t tmpfs tmpfs /mnt >"$1" 2>&1
}

# in_own_mounts BUILD COMMAND: in a mount namespace of its own, so whatever happens, nothing stays mounted
in_own_mounts() {
    own_build=$1
    shift
    $as_root env JOBS="${JOBS:-1}" SUBSLAB_BUILD="$own_build" unshare --mount --pid --fork --kill-child --mount-proc "$@"
}

# make_debian SUITE ROOT DEBS PACKAGES LOG: a small Debian with PACKAGES (a,b,c) and what they need. What the mirror
# gave is kept in DEBS for the next time.
make_debian() {
    mirror=$(debian_mirror)
    [ -n "$mirror" ] || { echo "apt names no mirror" >"$5"; return 1; }
    mkdir -p "$3"
    timeout 420 debootstrap --variant=minbase --cache-dir="$3" --include="$4" "$1" "$2" "$mirror" >"$5" 2>&1
}

# copy_source FOLDER: what belongs to the source, without anything that was built
copy_source() {
    mkdir -p "$1"
    { git ls-files -co --exclude-standard 2>/dev/null || find . -type f ! -path './build*' ! -path './.git/*'; } |
        while read -r file; do [ ! -f "$file" ] || printf '%s\n' "$file"; done | tar -cf - -T - | tar -xf - -C "$1"
}

# source_epoch: the time that a package built of this source has
source_epoch() {
    git log -1 --format=%ct 2>/dev/null || stat -c %Y CHANGELOG.md
}
