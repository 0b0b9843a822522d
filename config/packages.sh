# shellcheck shell=sh
# The Debian packages (bookworm, 12) that building, testing and the demonstration need, in this one
# place. Source it, do not run it:
#     . config/packages.sh
#     install_packages build test
# Needs root, or sudo, only when something is missing; does nothing when all is there.

# The programs themselves.
packages_build="gcc libc6-dev make cmake pkg-config
    libjansson-dev libyaml-dev libmosquitto-dev libsqlite3-dev libcurl4-openssl-dev
    libmicrohttpd-dev libssl-dev libcrypt-dev tzdata"

# tests/run.sh: a second compiler, fuzzers, format and lint, a broker, independent references.
packages_test="check musl-tools clang libclang-rt-dev llvm lld clang-format clang-tidy cppcheck binutils git
    mosquitto mosquitto-clients sqlite3 openssl locales procps systemd libfaketime
    Rscript:r-base-core python3 pyflakes3 python3-scipy python3-statsmodels python3-paho-mqtt
    python3-icalendar python3-prometheus-client
    curl jq node:nodejs npm:npm"

# tests/bench/bench_peers.py: what somebody might pick instead; without them it leaves those rows out.
packages_peers="collectd-core rrdtool"

# tests/browser: a real browser that reads the page.
packages_browser="chromium:chromium pdftotext:poppler-utils mosquitto mosquitto-clients"

# tests/package: builds the Debian package and tries it in a clean Debian.
packages_package="dpkg-dev lintian debootstrap fakeroot man-db bsdextrautils strace util-linux systemd
    iproute2 curl mosquitto python3 binutils llvm file libfaketime"

# tests/machines/bits.sh and emulated.sh: compilers for other processors, and their emulator; without them they leave
# those out.
packages_machines="gcc-aarch64-linux-gnu libc6-dev-arm64-cross gcc-arm-linux-gnueabihf
    libc6-dev-armhf-cross qemu-user"

# tests/cluster: brokers of several nodes.
packages_cluster="nats-server rabbitmq-server node:nodejs"

# tests/neighbours: what stands beside the daemon at its users'.
packages_neighbours="nginx-light caddy haproxy prometheus python3-prometheus-client zsh fish calcurse
    podman podman-compose docker-compose runc netavark aardvark-dns iptables iproute2 debootstrap curl
    node:nodejs npm:npm openssl mosquitto mosquitto-clients python3"

# config/demo/run.sh: a broker and a sender of made-up readings.
packages_demo="mosquitto mosquitto-clients python3 python3-paho-mqtt curl jq"

# An entry COMMAND:PACKAGE counts as present when the command exists, however it came.

# package_is_present ENTRY
package_is_present() {
    case $1 in
    *:*)
        command -v "${1%%:*}" >/dev/null 2>&1
        ;;
    *)
        dpkg-query -W -f '${db:Status-Status}' "$1" 2>/dev/null | grep -qx installed
        ;;
    esac
}

# packages_of GROUP…: the entries of the groups, each once
# shellcheck disable=SC2086
packages_of() {
    for group; do
        case $group in build | test | peers | browser | package | machines | cluster | neighbours | demo) ;; *)
            echo "packages_of: no group $group" >&2
            return 1
            ;;
        esac
    done
    for group; do
        case $group in
        build) printf '%s\n' $packages_build ;;
        test) printf '%s\n' $packages_test ;;
        peers) printf '%s\n' $packages_peers ;;
        browser) printf '%s\n' $packages_browser ;;
        package) printf '%s\n' $packages_package ;;
        machines) printf '%s\n' $packages_machines ;;
        cluster) printf '%s\n' $packages_cluster ;;
        neighbours) printf '%s\n' $packages_neighbours ;;
        demo) printf '%s\n' $packages_demo ;;
        esac
    done | sort -u
}

# missing_packages GROUP…: the names of Debian packages that are not there
missing_packages() {
    packages_of "$@" | while read -r entry; do
        package_is_present "$entry" || echo "${entry##*:}"
    done
}

# install_packages GROUP…: says what it installs, and installs it
install_packages() {
    if ! command -v dpkg-query >/dev/null 2>&1; then
        echo "This is not Debian: install the counterparts of these yourself:" >&2
        packages_of "$@" >&2
        return 0
    fi
    packages_of "$@" >/dev/null || return 1
    missing=$(missing_packages "$@" | tr '\n' ' ')
    if [ -z "$missing" ]; then
        echo "Debian packages: all there, nothing to install."
        return 0
    fi
    echo "Installing Debian packages: $missing"
    as_root=
    if [ "$(id -u)" -ne 0 ]; then
        if ! command -v sudo >/dev/null 2>&1; then
            echo "Run this as root, or install them first: apt-get install $missing" >&2
            return 1
        fi
        as_root=sudo
    fi
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -q update </dev/null &&
        $as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -q -y \
            -o Dpkg::Options::=--force-confold install --no-install-recommends \
            $missing </dev/null >/dev/null
}
