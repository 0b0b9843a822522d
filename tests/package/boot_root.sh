#!/bin/sh
# Boots the Debian at ROOT with its own systemd as process 1, as a container does.
#     boot_root.sh ROOT        by booted.py; returns when that systemd ends
# Processes, mounts, host name, IPC and control groups are its own; the network is the caller's. Of
# the machine it may change nothing: /sys and /proc/sys (but for the network's part) are read only,
# and what sets the kernel up is masked.
#
# Ends with status 3 and a reason when something of it is not permitted here.
set -u

give_up() {
    echo "boot_root: $*" >&2
    exit 3
}

# Control groups: every tree that the machine has is mounted for it with a group of its own as the
# top, "N:CONTROLLERS:PATH" a line of /proc/self/cgroup; 0 is the tree of the new kind.
tree_name() { # N CONTROLLERS: the folder in /sys/fs/cgroup
    case $1:$2 in
    0:*) echo unified ;;
    *:name=*) echo "${2#name=}" ;;
    *) echo "$2" ;;
    esac
}
mount_tree() { # N CONTROLLERS FOLDER
    mkdir -p "$3"
    case $1:$2 in
    0:*) mount -t cgroup2 cgroup2 "$3" ;;
    *:name=*) mount -t cgroup -o "none,$2" cgroup "$3" ;;
    *) mount -t cgroup -o "$2" cgroup "$3" ;;
    esac
}

if [ "${2:-}" != inside ]; then
    root=$1
    mount --make-rprivate / || give_up "mounts cannot be made private"
    trees=$(mktemp -d) && mount -t tmpfs tmpfs "$trees" || give_up "no mount is permitted"
    cp /proc/self/cgroup "$trees.were"
    own=subslabd-$(basename "$trees")
    while IFS=: read -r number controllers path; do
        tree=$trees/$(tree_name "$number" "$controllers")
        mount_tree "$number" "$controllers" "$tree" && mkdir "$tree/$path/$own" ||
            give_up "no control group of its own"
        for file in cpuset.cpus cpuset.mems; do # empty in a new group of the old kind
            [ "$number" = 0 ] || [ ! -e "$tree/$path/$file" ] ||
                cat "$tree/$path/$file" >"$tree/$path/$own/$file"
        done
        # It may run in real time where groups have a share of that, so that it can be forbidden.
        [ ! -e "$tree/$path/$own/cpu.rt_runtime_us" ] ||
            echo 10000 >"$tree/$path/$own/cpu.rt_runtime_us"
        echo $$ >"$tree/$path/$own/cgroup.procs" || give_up "no control group of its own"
        # Where it is not permitted, the limits are not tried.
        [ "$number" != 0 ] || for controller in memory pids; do
            (echo "+$controller" >"$tree/$path/cgroup.subtree_control") 2>/dev/null
        done
    done <"$trees.were"
    unshare --mount --pid --uts --ipc --cgroup --fork --kill-child sh "$0" "$root" inside
    status=$?
    while IFS=: read -r number controllers path; do
        tree=$trees/$(tree_name "$number" "$controllers")
        echo $$ >"$tree/$path/cgroup.procs"
        find "$tree/$path/$own" -depth -type d -exec rmdir {} \;
    done <"$trees.were"
    rm "$trees.were"
    exit "$status"
fi

root=$1
hostname subslabd-test || give_up "no host name of its own"
mount --bind "$root" "$root" && mount -t proc proc "$root/proc" || give_up "no /proc of its own"
for path in sys sysrq-trigger; do
    [ ! -e "$root/proc/$path" ] ||
        mount --bind -o ro "$root/proc/$path" "$root/proc/$path" || exit 3
done
mount --bind /proc/sys/net "$root/proc/sys/net" || exit 3
mount -t sysfs -o ro sysfs "$root/sys" || give_up "no /sys of its own"
if [ "$(wc -l </proc/self/cgroup)" -eq 1 ]; then
    mount_tree 0 "" "$root/sys/fs/cgroup" || exit 3
else
    mount -t tmpfs -o mode=755 tmpfs "$root/sys/fs/cgroup" || exit 3
    while IFS=: read -r number controllers _; do
        mount_tree "$number" "$controllers" \
            "$root/sys/fs/cgroup/$(tree_name "$number" "$controllers")" || exit 3
    done </proc/self/cgroup
    # So that it makes no further trees, which would be the machine's.
    mount -o remount,ro "$root/sys/fs/cgroup" || exit 3
fi
mount -t tmpfs -o mode=755 tmpfs "$root/dev" || exit 3
for device in null zero full random urandom tty; do
    : >"$root/dev/$device"
    mount --bind "/dev/$device" "$root/dev/$device" || exit 3
done
mkdir "$root/dev/shm" "$root/dev/pts"
mount -t tmpfs -o mode=1777 tmpfs "$root/dev/shm"
mount -t devpts -o newinstance,ptmxmode=0666 devpts "$root/dev/pts" || exit 3
ln -s pts/ptmx "$root/dev/ptmx"
mount -t tmpfs -o mode=755 tmpfs "$root/run"
mount -t tmpfs -o mode=1777 tmpfs "$root/tmp"
for unit in systemd-modules-load.service systemd-sysctl.service systemd-random-seed.service \
    dev-hugepages.mount sys-kernel-debug.mount sys-kernel-tracing.mount \
    sys-fs-fuse-connections.mount tmp.mount; do
    ln -sf /dev/null "$root/etc/systemd/system/$unit"
done

cd "$root" && mkdir -p was && pivot_root . was && cd / && umount -l was && rmdir was || exit 3
mount --make-rshared / || exit 3 # as systemd does itself outside containers; credentials need it
exec env -i container=subslabd-test PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C.UTF-8 \
    /lib/systemd/systemd --log-target=journal --show-status=no --unit=multi-user.target
