#!/bin/sh
# The demonstration: builds the programs and shows them at work on twelve invented houses.
#
#     sh config/demo/run.sh           until Ctrl-C
#     sh config/demo/run.sh --check   waits for the expected messages; exit status 0 or 1 (3 min)
#
# Needs root or sudo only when Debian packages are missing (config/packages.sh). It uses free ports
# of loopback and one temporary folder, and leaves neither process nor folder behind.
# SUBSLAB_BUILD=FOLDER uses the programs of that build folder and installs and builds nothing.
set -eu
cd "$(dirname "$0")/../.."

check=
for argument; do
    case $argument in
    --check) check=--check ;;
    -h | --help)
        sed -n '2,/^set/{/^set/d;s/^# \{0,1\}//;p;}' config/demo/run.sh
        exit 0
        ;;
    *)
        echo "config/demo/run.sh: no option $argument; there are: --check --help" >&2
        exit 2
        ;;
    esac
done

build=${SUBSLAB_BUILD:-}
if [ -z "$build" ]; then
    build=build
    . config/packages.sh
    install_packages build demo
    echo "Building into build/ …"
    log=$(mktemp)
    if ! { cmake --preset release &&
        cmake --build --preset release --parallel "$(nproc)" --target subslabd subslabctl; } \
        >"$log" 2>&1; then
        cat "$log" >&2
        rm -f "$log"
        exit 1
    fi
    rm -f "$log"
fi
for program in subslabd subslabctl; do
    [ -x "$build/$program" ] || { echo "config/demo/run.sh: $build/$program is missing" >&2; exit 1; }
done
# Debian's python3 is the one that finds Debian's packages.
PATH=/usr/bin:/bin:/usr/sbin:$PATH
export PATH PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1
exec python3 config/demo/scenario.py --build "$build" $check
