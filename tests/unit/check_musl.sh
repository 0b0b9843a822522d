#!/bin/sh
# Does every file of lib and daemon compile against the C library musl? Its own headers, and those of the
# libraries that we use, alone: nothing of glibc. Not linked, for Debian has no such libraries for musl.
# Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT
mkdir -p "$scratch/include/sys"
# The header of libxcrypt, as built for glibc, names one of glibc; as built for musl it does not.
printf '#define __BEGIN_DECLS\n#define __END_DECLS\n#define __THROW\n' >"$scratch/include/sys/cdefs.h"
machine=$(gcc -print-multiarch)
for header in jansson.h jansson_config.h yaml.h mosquitto.h mqtt_protocol.h sqlite3.h curl microhttpd.h openssl crypt.h; do
    for folder in /usr/include /usr/include/"$machine"; do
        [ -e "$folder/$header" ] || continue
        if [ "$header" = openssl ]; then # one part is the same for all machines, one is not
            mkdir -p "$scratch/include/openssl" && cp "$folder"/openssl/*.h "$scratch/include/openssl/"
        else
            ln -s "$folder/$header" "$scratch/include/$header"
        fi
    done
done
# What the build makes (embed.cmake): its names are in the sources.
made='extern const unsigned char embedded_style_css[], embedded_keys_js[], embedded_icon_svg[];
extern const unsigned long embedded_style_css_size, embedded_keys_js_size, embedded_icon_svg_size;'
for header in $(grep -rhoE '#include "[a-z_]*(assets|schema|complaints)\.h"' lib daemon | sed 's/.*"\(.*\)"/\1/' | sort -u); do
    found=$(find build build-check build-clang -name "$header" 2>/dev/null | head -n 1)
    if [ -n "$found" ]; then cp "$found" "$scratch/include/"; else echo "$made" >"$scratch/include/$header"; fi
done
# And languages.cmake: the names of the texts, which are keys of the English ones.
mkdir -p "$scratch/include/words"
for member in home letter page; do
    prefix=$(echo $member | tr a-z A-Z)
    {
        printf '#pragma once\nenum %s_text {\n' $member
        sed -n "s/^$member\.\([A-Z_0-9]*\) = .*/    ${prefix}_\1,/p" lib/words/language_en.txt
        echo "    ${prefix}_TEXT_COUNT };"
    } >"$scratch/include/words/${member}_text_names.h"
done
compiles() { # FILE…
    musl-gcc -std=c17 -fsyntax-only -Wall -Wextra -Werror -D_GNU_SOURCE -DSUBSLAB_VERSION='"0"' -Ilib -Idaemon \
        -isystem "$scratch/include" "$@"
}
passed=0 failed=0
for file in lib/*/*.c daemon/*.c daemon/*/*.c; do
    if compiles "$file" 2>"$scratch/said"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED $file"
        head -n 5 "$scratch/said"
    fi
done
# What musl lacks must be found.
echo '#include <stdlib.h>
unsigned f(void);
unsigned f(void) { return arc4random(); }' >"$scratch/lacks.c"
if compiles "$scratch/lacks.c" 2>/dev/null; then
    failed=$((failed + 1))
    echo "FAILED a call that musl lacks was not found"
else
    passed=$((passed + 1))
fi
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
