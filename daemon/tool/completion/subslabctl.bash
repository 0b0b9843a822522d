# shellcheck shell=bash
# Completion of subslabctl in bash. The program itself knows what may come (`subslabctl --complete`),
# so it is never another than its table of commands.
_subslabctl() {
    local current=${COMP_WORDS[COMP_CWORD]} offered
    COMPREPLY=()
    while IFS=$'\t' read -r offered _; do
        if [[ $offered == :files ]]; then
            compopt -o filenames 2>/dev/null
            mapfile -t COMPREPLY < <(compgen -f -- "$current")
            return
        fi
        COMPREPLY+=("${offered// /\\ }")
    done < <(timeout 2 "${COMP_WORDS[0]}" --complete "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null </dev/null)
}

complete -F _subslabctl subslabctl
