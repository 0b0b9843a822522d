#!/bin/sh
# sum_up: the end of a run. What failed with its reasons once more, as the logs above may have been
# cut; then the sum, "N passed, N failed". Exit status 1 when anything failed or nothing was tested.
#
#     RUN_FOLDER=… sum_up.sh
set -u

awk -F '\t' '$3 > 0 { print $1, $6 }' "$RUN_FOLDER/results" | while read -r name why; do
    echo "failed: $name${why:+ ($why)}"
    log=$RUN_FOLDER/$(printf %s "$name" | tr '/ ' '__').log
    [ -f "$log" ] || continue
    grep -E 'FAIL|:[FE]:|ERROR: |runtime error|[A-Za-z]Error: ' "$log" | tail -n 8 | sed 's/^/    /'
done
awk -F '\t' '{ passed += $2; failed += $3 }
    END { printf "%d passed, %d failed\n", passed, failed; exit failed > 0 || passed == 0 }' \
    "$RUN_FOLDER/results"
