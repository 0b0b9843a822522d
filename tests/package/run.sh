#!/bin/sh
# The Debian package: is it built, does lintian accept it, do its manual pages and completion name
# everything, and does it install, upgrade, remove and purge as it should in a clean Debian?
#     PACKAGE_BUILD   folder of the build with the preset `package` (default build-package)
# The last part needs root (or sudo), namespaces, and the mirror that apt uses here; what cannot be
# tried is said, "not tried: …", and not counted. Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
PATH=/usr/sbin:/usr/bin:/sbin:/bin
export PATH
. config/packages.sh
. tests/package/checks.sh
. tests/package/debian_root.sh

if ! install_packages build package; then
    echo "0 passed, 1 failed"
    exit 1
fi
build=${PACKAGE_BUILD:-build-package}
codename=$(. /etc/os-release && echo "$VERSION_CODENAME")
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
trap 'exit 143' HUP INT TERM

# --- the package itself --------------------------------------------------------------------------

build_package() {
    rm -f "$build"/*.deb "$build"/*.ddeb
    cmake --preset package -B "$build" && cmake --build "$build" --parallel "${JOBS:-1}" &&
        (umask 077 && cmake --build "$build" --target package) # the umask must not show in it
}
build_package >"$scratch/build" 2>&1
deb=$(find "$build" -maxdepth 1 -name 'subslabd_*.deb' | head -n 1)
if [ ! -f "$deb" ]; then
    cat "$scratch/build"
    echo "0 passed, 1 failed"
    exit 1
fi
unpacked=$scratch/unpacked
dpkg-deb -R "$deb" "$unpacked"
dpkg-deb -c "$deb" | awk '{ print $1, $2, $6 }' >"$scratch/contents"
doc=$unpacked/usr/share/doc/subslabd

lintian_accepts() {
    lintian --allow-root --no-tag-display-limit "$deb" >"$scratch/lintian" 2>&1
    grep '^[EW]:' "$scratch/lintian"
    ! grep -q '^E:' "$scratch/lintian" && [ "$(grep -c '^W:' "$scratch/lintian")" -le 3 ]
}
# lintian that finds nothing anywhere would accept everything.
lintian_is_awake() {
    cp -r "$unpacked" "$scratch/spoilt" && rm "$scratch/spoilt/usr/share/doc/subslabd/copyright" &&
        dpkg-deb -b --root-owner-group "$scratch/spoilt" "$scratch/spoilt.deb" >/dev/null &&
        lintian --allow-root "$scratch/spoilt.deb" 2>/dev/null | grep -q '^E:.*no-copyright-file'
}
check "lintian finds no error and few warnings" lintian_accepts
check "lintian finds a missing copyright file" lintian_is_awake

holds() { # MODE OWNER PATH
    grep -qxF -- "$1 $2 .$3" "$scratch/contents" || { echo "$3 is not there as $1 $2"; return 1; }
}
while read -r mode path; do
    check "contents: $path" holds "$mode" root/root "$path"
done <<'TABLE'
-rwxr-xr-x /usr/bin/subslabd
-rwxr-xr-x /usr/bin/subslabctl
-rw-r--r-- /usr/lib/systemd/system/subslabd.service
-rw-r--r-- /usr/lib/systemd/system/subslabd@.service
-rw-r--r-- /usr/lib/systemd/system/subslabd-backup@.service
-rw-r--r-- /usr/lib/systemd/system/subslabd-backup@.timer
-rw-r--r-- /usr/lib/sysusers.d/subslabd.conf
-rw-r--r-- /usr/lib/tmpfiles.d/subslabd.conf
-rw-r----- /etc/subslabd/subslabd.yaml
drwxr-xr-x /etc/subslabd/systems/
-rw-r--r-- /usr/share/man/man8/subslabd.8.gz
-rw-r--r-- /usr/share/man/man1/subslabctl.1.gz
-rw-r--r-- /usr/share/man/man5/subslabd.yaml.5.gz
-rw-r--r-- /usr/share/bash-completion/completions/subslabctl
-rw-r--r-- /usr/share/zsh/vendor-completions/_subslabctl
-rw-r--r-- /usr/share/fish/vendor_completions.d/subslabctl.fish
-rw-r--r-- /usr/share/doc/subslabd/changelog.gz
-rw-r--r-- /usr/share/doc/subslabd/copyright
-rw-r--r-- /usr/share/doc/subslabd/README.md
-rw-r--r-- /usr/share/doc/subslabd/BROKER.md
-rw-r--r-- /usr/share/doc/subslabd/SCALE.md
-rw-r--r-- /usr/share/doc/subslabd/PROXY.md
-rw-r--r-- /usr/share/doc/subslabd/SENDERS.md
-rw-r--r-- /usr/share/doc/subslabd/openapi.yaml
-rw-r--r-- /usr/share/doc/subslabd/prometheus/subslabd.rules.yml
-rw-r--r-- /usr/share/doc/subslabd/prometheus/dashboard.json
-rw-r--r-- /usr/share/doc/subslabd/FIGURES.md
-rw-r--r-- /usr/share/doc/subslabd/examples/commissioning-example.yaml
-rw-r--r-- /usr/share/doc/subslabd/examples/systems/example.yaml
TABLE

only_known_folders() {
    ! grep -vE ' \./(etc/(subslabd/.*)?|usr/((bin|lib|share)/.*)?)?$' "$scratch/contents"
}
settings_are_conffiles() {
    (cd "$unpacked" && find etc -type f | sed 's|^|/|' | sort) >"$scratch/etc"
    sort "$unpacked/DEBIAN/conffiles" | diff - "$scratch/etc"
}
depends_on_each_library() { # what the programs need is owned by packages that Depends names
    ldd "$unpacked/usr/bin/subslabd" | sed -n 's/.*=> \([^ ]*\) .*/\1/p' >"$scratch/loaded"
    readelf -d "$unpacked/usr/bin/subslabd" "$unpacked/usr/bin/subslabctl" |
        sed -n 's/.*(NEEDED).*\[\(.*\)\]/\1/p' | sort -u >"$scratch/needed"
    [ "$(grep -c . "$scratch/needed")" -ge 8 ] || return 1
    grep -F -f "$scratch/needed" "$scratch/loaded" | while read -r library; do
        # Before the folders were merged a library was listed under /lib.
        package=$(dpkg-query -S "$library" "${library#/usr}" 2>/dev/null | head -n 1 | cut -d : -f 1)
        dpkg-deb -f "$deb" Depends | tr ',' '\n' | grep -qE "^ *$package( |\$)" ||
            { echo "$library is of $package, which Depends does not name"; echo bad >"$scratch/bad"; }
    done
    [ ! -e "$scratch/bad" ]
}
names_no_build_folder() {
    ! grep -rlF "$(pwd -P)" "$unpacked" && ! grep -rlF "$(cd "$build" && pwd -P)" "$unpacked"
}
changelog_is_debians() {
    version=$(dpkg-deb -f "$deb" Version)
    [ "$(dpkg-parsechangelog -l "$doc/changelog.gz" -S Version 2>&1)" = "$version" ] ||
        [ "$(gzip -dc "$doc/changelog.gz" | dpkg-parsechangelog -l - -S Version)" = "$version" ]
}
changelog_has_each_bullet() {
    [ "$(gzip -dc "$doc/changelog.gz" | grep -c '^  \* ')" -eq "$(grep -c '^- ' CHANGELOG.md)" ]
}
changelog_knows_released_versions() {
    printf '%s\n' '# C' '' '## 1.1.0 (2026-03-02)' '' '- New, in' '  two lines.' '' \
        '## 1.0.0 (2026-01-02)' '' 'Text.' '' '- Old.' >"$scratch/changes.md"
    sh systemd/package/changelog.sh "$scratch/changes.md" 'a tester <tester@packages.invalid>' >"$scratch/changes"
    dpkg-parsechangelog -l "$scratch/changes" --all >"$scratch/parsed" 2>&1
    ! grep -i warning "$scratch/parsed" && grep -qx 'Version: 1.1.0' "$scratch/parsed" &&
        grep -qx ' subslabd (1.0.0) unstable; urgency=medium' "$scratch/parsed" &&
        grep -qx '  \* New, in two lines.' "$scratch/changes" &&
        grep -qx ' -- a tester <tester@packages.invalid>  Fri, 02 Jan 2026 12:00:00 +0000' "$scratch/changes"
}
check "nothing lies in unexpected folders" only_known_folders
check "all of /etc is conffiles" settings_are_conffiles
check "Depends names each library" depends_on_each_library
check "no folder of the build machine is named" names_no_build_folder
check "the changelog is a Debian changelog of this version" changelog_is_debians
check "the changelog has each change" changelog_has_each_bullet
check "the changelog of released versions" changelog_knows_released_versions
check "the licence is whole" grep -qF "$(grep -m 1 MERCHANTABILITY LICENSE)" "$doc/copyright"
if command -v shellcheck >/dev/null 2>&1; then
    check "shellcheck" shellcheck -S warning -e SC1091 systemd/package/changelog.sh systemd/package/debian/postinst \
        systemd/package/debian/prerm systemd/package/debian/postrm daemon/tool/completion/subslabctl.bash tests/package/*.sh
fi

# --- manual pages and completion -----------------------------------------------------------------

page_is_quiet() { # groff has nothing to say, and the page is not empty
    LC_ALL=C.UTF-8 MANWIDTH=100 man --warnings -l "$1" >"$scratch/page" 2>"$scratch/said"
    cat "$scratch/said"
    [ ! -s "$scratch/said" ] && [ "$(grep -c . "$scratch/page")" -gt 40 ]
}
for page in daemon/man/*.[1578]; do
    check "$page has no warnings" page_is_quiet "$page"
done

ctl=$unpacked/usr/bin/subslabctl
commands=$("$ctl" --help | sed -n 's/^  \([a-z][a-z-]*\)  .*/\1/p')
page_text() {
    LC_ALL=C.UTF-8 MANWIDTH=1000 man -l "$1" 2>/dev/null | col -bx
}
page_text daemon/man/subslabctl.1 >"$scratch/subslabctl.1"
page_text daemon/man/subslabd.8 >"$scratch/subslabd.8"
page_text daemon/man/subslabd.yaml.5 >"$scratch/subslabd.yaml.5"
options_of() { # COMMAND: the options in its usage
    "$ctl" "$1" --help | head -n 1 | grep -oE -- '--[a-z][a-z-]*' | sort -u
}
manual_names_commands() {
    for command in $commands; do
        grep -qE "^ +$command( |\$)" "$scratch/subslabctl.1" || { echo "no $command"; return 1; }
        for option in $(options_of "$command"); do
            grep -qE -- "$option([^a-z-]|\$)" "$scratch/subslabctl.1" || { echo "no $option"; return 1; }
        done
    done
}
manual_names_daemon_options() {
    for option in $("$unpacked/usr/bin/subslabd" --help | grep -oE -- '^  --[a-z]+'); do
        grep -q -- "$option" "$scratch/subslabd.8" || { echo "no $option"; return 1; }
    done
}
# The other way round: nothing in the page that the program does not have.
manual_names_nothing_else() { # PAGE PROGRAM
    { "$2" --help; for command in $commands; do "$ctl" "$command" --help; done; } >"$scratch/helps"
    [ "$(basename "$2")" = subslabctl ] || "$2" --help >"$scratch/helps"
    grep -oE -- '--[a-z][a-z-]+' "$scratch/$1" | sort -u >"$scratch/options"
    [ -s "$scratch/options" ] || { echo "no option in $1"; return 1; }
    while read -r option; do
        case "$1 $option" in "subslabd.8 --now") continue ;; esac # of systemctl
        case "$1 $option" in "subslabd.8 --json") continue ;; esac # of subslabctl
        grep -qE -- "$option([^a-z-]|\$)" "$scratch/helps" || { echo "$1 has $option"; return 1; }
    done <"$scratch/options"
}
manual_has_no_other_command() {
    # The tags of the command sections: lines that begin with a lower-case word at the page's margin.
    sed -n '/^COMMANDS THAT SHOW/,/^EXIT STATUS/p' "$scratch/subslabctl.1" |
        sed -n 's/^ \{7\}\([a-z][a-z-]*\)\( .*\)\{0,1\}$/\1/p' | sort -u >"$scratch/tags"
    for command in $(cat "$scratch/tags"); do
        echo "$commands" | grep -qx -- "$command" || { echo "the page has $command"; return 1; }
    done
    [ "$(grep -c . "$scratch/tags")" -ge "$(echo "$commands" | grep -c .)" ]
}
manual_names_settings() {
    keys=$(sed -n 's/.*\.key = "\([a-z_]*\)".*/\1/p' lib/settings/*.c | sort -u)
    [ "$(echo "$keys" | grep -c .)" -gt 60 ] || return 1
    for key in $keys; do
        grep -qE "(^|[^a-z_])$key([^a-z_]|\$)" "$scratch/subslabd.yaml.5" || { echo "no $key"; return 1; }
    done
}
complete_line() { # WORD…: what bash offers for the last of them, one a line
    bash -c '. daemon/tool/completion/subslabctl.bash
        COMP_WORDS=("$@") COMP_CWORD=$(($# - 1))
        _subslabctl
        [ ${#COMPREPLY[@]} -eq 0 ] || printf "%s\n" "${COMPREPLY[@]}"' complete "$@"
}
completion_offers_commands() {
    offered=$(complete_line "$ctl" "" | grep -v '^-' | sort)
    [ "$offered" = "$(echo "$commands" | sort)" ] || { echo "$offered"; return 1; }
}
completion_offers_options() { # each command its own, and those that all have
    for command in $commands; do
        offered=$(complete_line "$ctl" "$command" -- | sort -u)
        wanted=$({ options_of "$command"; printf '%s\n' --help --language --settings; } | grep . | sort -u)
        [ "$offered" = "$wanted" ] || { echo "$command offers $offered instead of $wanted"; return 1; }
    done
}
completion_offers_files() {
    [ "$(complete_line "$ctl" check config/subsl)" = config/subslabd.yaml ] &&
        [ "$(complete_line "$ctl" alarms --system "")" = "" ] &&
        [ "$(complete_line "$ctl" export x --as s)" = senml ]
}
check "subslabctl(1) names each command and option" manual_names_commands
check "subslabd(8) names each option" manual_names_daemon_options
check "subslabctl(1) has no other option" manual_names_nothing_else subslabctl.1 "$ctl"
check "subslabctl(1) has no other command" manual_has_no_other_command
check "subslabd(8) has no other option" manual_names_nothing_else subslabd.8 "$unpacked/usr/bin/subslabd"
check "subslabd.yaml(5) names each key" manual_names_settings
check "completion offers each command" completion_offers_commands
check "completion offers each option" completion_offers_options
check "completion offers files and words, without a daemon too" completion_offers_files

# --- again, and its debug symbols ---------------------------------------------------------------

# In another folder, by another clock, umask, time zone and language.
build_again() {
    copy_source "$scratch/another-folder/of-the-source" && cd "$scratch/another-folder/of-the-source" &&
        umask 027 && env SOURCE_DATE_EPOCH="$epoch" TZ=Asia/Kathmandu LC_ALL=C \
            LD_PRELOAD="$(find /usr/lib/*/faketime -name libfaketime.so.1)" FAKETIME=+400d sh -c '
                cmake --preset package && cmake --build build-package --parallel "$1" &&
                cmake --build build-package --target package' again "${JOBS:-1}"
}
epoch=$(source_epoch)
symbols=$(find "$build" -maxdepth 1 -name 'subslabd-dbgsym_*.ddeb')
mkdir "$scratch/symbols"
check "there are debug symbols" dpkg-deb -x "$symbols" "$scratch/symbols"
for program in subslabd subslabctl; do
    check "they lead to the source of $program" names_the_source "$unpacked" "$scratch/symbols" $program
done
check "it is built again" eval '(build_again)'
for made in "$deb" "$symbols"; do
    check "the same bytes again: $(basename "$made")" \
        cmp "$made" "$scratch/another-folder/of-the-source/build-package/$(basename "$made")"
done

# --- installed -----------------------------------------------------------------------------------

if mounts_permitted "$scratch/permitted" --net; then
    in_own_mounts "$build" sh tests/package/clean_root.sh "$deb" "$scratch" "$PWD/build-package/debs" "$codename" >"$scratch/installed" 2>&1
    cat "$scratch/installed"
    add_counts "$scratch/installed"
else
    echo "not tried: installing, upgrading, removing and booting: $(head -n 1 "$scratch/permitted")"
fi
finish
