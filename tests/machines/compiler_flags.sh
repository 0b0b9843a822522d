# shellcheck shell=sh
# What makes the same bits. Source it.

# asked_of_the_compiler BUILD
asked_of_the_compiler() {
    grep -q -- '-ffp-contract=off' "$1/compile_commands.json" &&
        grep -q -- '-D_TIME_BITS=64' "$1/compile_commands.json"
}
