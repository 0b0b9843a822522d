#!/bin/sh
# Is every .c and .h file formatted as .clang-format says? Repair: clang-format -i FILE.
# Counts one for each file. Ends with "N passed, N failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
format=${CLANG_FORMAT:-clang-format}
scratch=$(mktemp -d) || exit 2
trap 'rm -rf "$scratch"' EXIT

# unformatted: of the files named on standard input, those that are not formatted
unformatted() {
    xargs -r "$format" --style=file:.clang-format --dry-run -Werror 2>&1 |
        sed -nE 's/^([^: ]+):[0-9]+:[0-9]+: error: .*/\1/p' | sort -u
}

# The check itself: a file that is not formatted must be found.
printf 'int  f( void ){return 1 ;}\n' >"$scratch/planted.c"
failed=0
if [ "$(echo "$scratch/planted.c" | unformatted)" != "$scratch/planted.c" ]; then
    echo "FAILED: an unformatted file was taken for a formatted one"
    failed=1
fi

find lib daemon tests -name node_modules -prune -o -name '*.[ch]' -print | sort >"$scratch/files"
unformatted <"$scratch/files" >"$scratch/found"
sed 's/.*/FAILED &: not formatted; clang-format -i &/' "$scratch/found"
failed=$((failed + $(grep -c . "$scratch/found")))
echo "$(($(grep -c . "$scratch/files") + 1 - failed)) passed, $failed failed"
[ "$failed" -eq 0 ]
