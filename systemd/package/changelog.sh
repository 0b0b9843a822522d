#!/bin/sh
# Prints CHANGELOG.md as a Debian changelog, newest first:    changelog.sh CHANGELOG.md "NAME <ADDRESS>"
#
# "## 1.2.0 (2026-03-01)" begins a version of that day; one that is not yet released has the day of
# SOURCE_DATE_EPOCH, or else of the file. Its bullets are taken, other paragraphs are left out.
set -eu
file=$1 contact=$2
today=$(date -u -R -d "@${SOURCE_DATE_EPOCH:-$(stat -c %Y "$file")}")

close_version() {
    [ -z "$version" ] || printf '\n -- %s  %s\n\n' "$contact" "$stamp"
}

version=""
# Bullets and their continuation lines are joined, then wrapped for Debian's 80 columns.
awk '
    function flush() { if (bullet != "") print bullet; bullet = "" }
    /^## /          { flush(); print; next }
    /^- /           { flush(); bullet = $0; next }
    /^  / && bullet { sub(/^ +/, ""); bullet = bullet " " $0; next }
                    { flush() }
    END             { flush() }' "$file" |
    {
        while IFS= read -r line; do
            case $line in
            "## "*)
                close_version
                rest=${line#\#\# }
                version=${rest%% *}
                day=$(printf %s "$rest" | sed -n 's/.*(\([0-9]*-[0-9]*-[0-9]*\)).*/\1/p')
                if [ -n "$day" ]; then
                    stamp=$(date -u -R -d "$day 12:00") suite=unstable
                else
                    stamp=$today suite=UNRELEASED
                fi
                printf 'subslabd (%s) %s; urgency=medium\n\n' "$version" "$suite"
                ;;
            "- "*)
                printf '%s\n' "${line#- }" | fold -s -w 74 | sed 's/ *$//; 1s/^/  * /; 2,$s/^/    /'
                ;;
            esac
        done
        close_version
    } | sed '$d'
