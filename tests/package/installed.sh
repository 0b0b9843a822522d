#!/bin/sh
# Installs, starts, upgrades, removes and purges the package in the Debian at ROOT.
#     installed.sh ROOT FOLDER       by clean_root.sh; ROOT/packages/first.deb is the package
# Nothing answers questions: standard input is empty throughout. Ends with "N passed, N failed".
set -u
root=$1 folder=$2
. tests/package/checks.sh
PATH=/usr/sbin:/usr/bin:/sbin:/bin
export PATH LC_ALL=C.UTF-8
exec </dev/null
ip link set lo up 2>/dev/null || true

in_root() {
    DEBIAN_FRONTEND=noninteractive PATH=/usr/local/bin:$PATH chroot "$root" "$@"
}
is() { # FOUND EXPECTED
    if [ "$1" != "$2" ]; then
        printf 'found:    %s\nexpected: %s\n' "$1" "$2"
        return 1
    fi
}
owned() { # PATH OWNER:GROUP MODE
    is "$(in_root stat -c '%U:%G %a' "$1")" "$2 $3"
}
absent() {
    for path; do
        if [ -e "$root$path" ] || [ -L "$root$path" ]; then
            echo "$path is there"
            return 1
        fi
    done
}
# All files of the system but those that any package leaves its traces in.
list_files() {
    (cd "$root" && find ./etc ./opt ./run ./srv ./usr ./var -xdev \( -path ./run/systemd -o -path ./var/lib/dpkg \
        -o -path ./var/log -o -path ./var/cache -o -path ./etc/passwd- -o -path ./etc/group- \
        -o -path ./etc/shadow- -o -path ./etc/gshadow- -o -path ./etc/.pwd.lock \
        -o -path "./etc/subuid*" -o -path "./etc/subgid*" \) -prune -o -print |
        sort)
}

# The service manager is not at work in here; a stand-in writes down what the scripts ask of it.
pretend_systemd() { # UNITS that it says run
    mkdir -p "$root/run/systemd/system" "$root/usr/local/bin"
    cat >"$root/usr/local/bin/systemctl" <<STANDIN
#!/bin/sh
echo "\$*" >>/packages/asked
case "\$*" in
*list-units*) for unit in $1; do echo "\$unit loaded active running x"; done ;;
*is-enabled*) echo enabled ;;
esac
STANDIN
    chmod 755 "$root/usr/local/bin/systemctl"
    : >"$root/packages/asked"
}
asked() { # PATTERN
    grep -qE -- "$1" "$root/packages/asked" || { cat "$root/packages/asked"; return 1; }
}
not_asked() {
    ! grep -E -- "$1" "$root/packages/asked"
}

daemon_pid=
start_daemon() {
    mkdir -p "$root/run/subslabd"
    in_root chown subslabd:subslabd /run/subslabd
    chmod 755 "$root/run/subslabd"
    # As the unit: by the account, with its umask and without any privilege.
    (
        umask 027
        exec chroot "$root" setpriv --reuid subslabd --regid subslabd --init-groups --inh-caps=-all \
            --bounding-set=-all --no-new-privs /usr/bin/subslabd
    ) >"$folder/daemon" 2>&1 &
    daemon_pid=$!
    for _ in $(seq 100); do # ExecStartPost of the unit
        [ ! -S "$root/run/subslabd/operator.sock" ] || break
        sleep 0.2
    done
    in_root chgrp subslab-operators /run/subslabd/operator.sock
    for _ in $(seq 100); do
        in_root subslabctl systems >/dev/null 2>&1 && return 0
        kill -0 "$daemon_pid" 2>/dev/null || break
        sleep 0.2
    done
    cat "$folder/daemon"
    return 1
}
stop_daemon() {
    kill -TERM "$daemon_pid" && wait "$daemon_pid"
}

# --- install -------------------------------------------------------------------------------------

pretend_systemd ""
before=$(list_files)
check "install" in_root dpkg -i /packages/first.deb
check "installed as dpkg knows it" is "$(in_root dpkg-query -W -f '${db:Status-Status}' subslabd)" installed
check "files are as the package says" is "$(in_root dpkg -V subslabd | grep -v ' c ' | grep -v /usr/share/)" ""
check "nothing half done" is "$(in_root dpkg --audit)" ""
check "the account has no shell" is "$(in_root getent passwd subslabd | cut -d : -f 6-)" \
    /var/lib/subslabd:/usr/sbin/nologin
check "owner of /etc/subslabd" owned /etc/subslabd root:subslabd 750
check "owner of systems/" owned /etc/subslabd/systems root:subslabd 750
check "owner of the settings" owned /etc/subslabd/subslabd.yaml root:subslabd 640
check "owner of the folder of copies" owned /var/backups/subslabd subslabd:subslabd 750
check "owner of the state folder" owned /var/lib/subslabd subslabd:subslabd 750
check "systems/ is empty" is "$(ls -A "$root/etc/subslabd/systems")" ""
check "units are read again" asked 'daemon-reload'
check "nothing is enabled or started" not_asked '(^| )(enable|preset|start|restart|try-restart) '
check "not enabled" absent /etc/systemd/system/multi-user.target.wants/subslabd.service
check "systemd accepts the units" in_root env -u NOTIFY_SOCKET systemd-analyze --man=no verify \
    /usr/lib/systemd/system/subslabd.service /usr/lib/systemd/system/subslabd@north.service \
    /usr/lib/systemd/system/subslabd-backup@subslabd.service /usr/lib/systemd/system/subslabd-backup@subslabd.timer
check "the settings as shipped are good" in_root subslabctl check

# --- a first start, and a life -------------------------------------------------------------------

health() { # the status of the answer; no broker is there, so 503 is right
    is "$(curl -s -o /dev/null -w '%{http_code}' http://127.0.0.1:8148/health)" 503 &&
        is "$(curl -s -o /dev/null -w '%{http_code}' http://127.0.0.1:8148/)" 200
}
stranger_is_refused() {
    ! chroot --userspec=nobody:nogroup "$root" subslabctl systems >/dev/null 2>&1
}
as_operator() {
    chroot --userspec=nobody:nogroup --groups=subslab-operators "$root" "$@"
}
operator_reads_no_secret() {
    for file in /etc/subslabd/broker-password /etc/subslabd/subslabd.yaml /var/lib/subslabd/subslab.db; do
        [ -s "$root$file" ] || { echo "$file is not there"; return 1; }
        ! as_operator cat "$file" || return 1
    done
}
groups_of() { # NAME: those of this package
    in_root id -nG "$1" | tr ' ' '\n' | grep subslab | sort | tr '\n' ' '
}
check "a fresh install starts" start_daemon
check "page and health answer" health
check "others may not use subslabctl" stranger_is_refused
check "it stops" stop_daemon
check "owner of the store" owned /var/lib/subslabd/subslab.db subslabd:subslabd 640

in_root install -m 640 -g subslabd /usr/share/doc/subslabd/examples/systems/example.yaml \
    /etc/subslabd/systems/first.yaml
sed -i 's/^units: us$/units: si/' "$root/etc/subslabd/subslabd.yaml"
check "the edit is one" grep -qx 'units: si' "$root/etc/subslabd/subslabd.yaml"
check "settings and system are good" in_root subslabctl check
check "it starts with a system" start_daemon
check "a reading is put on record" in_root subslabctl record mill-house-3 suction '1.08 inH2O' \
    --by 'the installer'
completed() { # WORD…
    in_root bash -c '. /usr/share/bash-completion/completions/subslabctl
        COMP_WORDS=(subslabctl "$@") COMP_CWORD=$#
        _subslabctl
        printf "%s " "${COMPREPLY[@]}"' complete "$@"
}
check "completion knows the system" is "$(completed show mill)" "mill-house-3 "
check "completion knows its points" is "$(completed record mill-house-3 p)" "pitot "
in_root subslabctl export mill-house-3/suction >"$folder/readings"
check "the reading is there" is "$(grep -c . "$folder/readings")" 2
check "it stops again" stop_daemon
printf 'secret\n' >"$root/etc/subslabd/broker-password"
in_root chown root:subslabd /etc/subslabd/broker-password
chmod 640 "$root/etc/subslabd/broker-password"

# As a version left it that knew one group only: an operator was a member of it.
in_root useradd --no-create-home --groups subslabd ann
in_root groupdel subslab-operators
check "one group, as before" is "$(groups_of ann)" "subslabd "

# --- upgrade: a later version with other settings -------------------------------------------------

dpkg-deb -R "$root/packages/first.deb" "$folder/later"
sed -i 's/^Version: .*/&+later1/' "$folder/later/DEBIAN/control"
sed -i '1s/^/# A line that a later version ships.\n/' "$folder/later/etc/subslabd/subslabd.yaml"
dpkg-deb -b --root-owner-group "$folder/later" "$root/packages/later.deb" >/dev/null
cp "$root/etc/subslabd/subslabd.yaml" "$folder/edited.yaml"

pretend_systemd "subslabd.service subslabd@north.service"
upgrade() {
    in_root dpkg --force-confdef --force-confold -i /packages/later.deb >"$folder/upgrade" 2>&1
}
check "upgrade" upgrade
check "the upgrade says whom it moved" grep -q '^subslabd: ann is now in the group subslab-operators' "$folder/upgrade"
check "it is the later version" is \
    "$(in_root dpkg-query -W -f '${Version}' subslabd)" "$(dpkg-deb -f "$root/packages/later.deb" Version)"
check "the edited settings stay" cmp "$folder/edited.yaml" "$root/etc/subslabd/subslabd.yaml"
check "the settings keep their owner" owned /etc/subslabd/subslabd.yaml root:subslabd 640
check "the system file stays" test -s "$root/etc/subslabd/systems/first.yaml"
check "the secret stays as it was" owned /etc/subslabd/broker-password root:subslabd 640
check "an upgrade stops nothing" not_asked '(^| )stop '
check "an operator of before may use the tool and reads no secrets" is "$(groups_of ann)" "subslab-operators "
check "the account is in its own group alone" is "$(groups_of subslabd)" "subslabd "
check "what runs is restarted" asked '(^| )restart subslabd.service subslabd@north.service'
check "it starts after the upgrade" start_daemon
in_root subslabctl export mill-house-3/suction >"$folder/readings-later"
check "the reading is still there" cmp "$folder/readings" "$folder/readings-later"
check "members of the group may use subslabctl" as_operator subslabctl systems
check "the daemon tells them its units" is \
    "$(as_operator subslabctl show mill-house-3 | grep -o '269 Pa' | head -n 1)" "269 Pa"
check "they read no secret" operator_reads_no_secret
check "it stops after the upgrade" stop_daemon

# --- remove, install again, purge ----------------------------------------------------------------

# As `systemctl enable` leaves it, and a shard.
mkdir -p "$root/etc/systemd/system/multi-user.target.wants" "$root/var/lib/subslabd-north"
for unit in subslabd.service subslabd@north.service; do
    ln -s /usr/lib/systemd/system/subslabd.service "$root/etc/systemd/system/multi-user.target.wants/$unit"
done
: >"$root/var/lib/subslabd-north/subslab.db"

pretend_systemd "subslabd.service"
check "remove" in_root dpkg -r subslabd
check "it was stopped first" asked '(^| )stop subslabd.service'
check "programs and units are gone" absent /usr/bin/subslabd /usr/bin/subslabctl \
    /usr/lib/systemd/system/subslabd.service /usr/share/doc/subslabd /usr/share/man/man8/subslabd.8.gz
check "removing keeps the settings" cmp "$folder/edited.yaml" "$root/etc/subslabd/subslabd.yaml"
check "removing keeps systems" test -s "$root/etc/subslabd/systems/first.yaml"
check "removing keeps the store" test -s "$root/var/lib/subslabd/subslab.db"

in_root adduser --quiet ann subslabd 2>/dev/null || in_root usermod -aG subslabd ann
check "install again" in_root dpkg --force-confdef --force-confold -i /packages/first.deb
check "what somebody does to the groups later stays" is "$(groups_of ann)" "subslab-operators subslabd "
in_root userdel ann
rm -rf "$root/run/adduser" # the lock of adduser
check "settings of before" cmp "$folder/edited.yaml" "$root/etc/subslabd/subslabd.yaml"
check "it starts again" start_daemon
in_root subslabctl export mill-house-3/suction >"$folder/readings-again"
check "history of before" cmp "$folder/readings" "$folder/readings-again"
check "it stops once more" stop_daemon

check "purge" in_root dpkg -P subslabd
check "purging leaves no trace with dpkg" is "$(in_root dpkg-query -W subslabd 2>/dev/null)" ""
after=$(list_files)
printf '%s\n' "$before" >"$folder/before"
printf '%s\n' "$after" >"$folder/after"
left_over() {
    diff "$folder/before" "$folder/after"
}
check "purging leaves nothing" left_over
finish
