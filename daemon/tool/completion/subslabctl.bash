# shellcheck shell=bash
# Completion of subslabctl in bash: commands, options, status words, and from a daemon that answers
# the ids of systems, alarms, contacts and deliveries. Without one it completes the rest.

# command: its options, and what stands for its arguments in turn (system, alarm, contact, file)
_subslabctl_describe() {
    case $1 in
    systems) echo '--status --json' ;;
    show) echo '--json | system' ;;
    alarms) echo '--all --system --since --limit --before --json' ;;
    acknowledge) echo '--by --note | alarm' ;;
    shelve) echo '--until --by --why | alarm' ;;
    unshelve) echo '| alarm' ;;
    out-of-service) echo '--until --by --why | system' ;;
    return-to-service) echo '| system' ;;
    visits) echo '--limit --before --ics --json' ;;
    visit-done) echo '--on --by --found --did --new-baseline --next-calibration | system' ;;
    commission) echo '--learn --by | system file' ;;
    radon-test) echo '--from --to --place --device --by --uncertainty --kind --closed-house --open-house | system' ;;
    radon-tests) echo '--json | system' ;;
    record) echo '--at --by | system point' ;;
    import) echo '| file' ;;
    export) echo '--from --to --as | system' ;;
    deliveries) echo '--failed --limit --before --again --json' ;;
    test-alert) echo '| contact' ;;
    unclaimed | refused) echo '--json' ;;
    check) echo '| file file file file' ;;
    replay) echo '--commission --alarms --json | file' ;;
    verify) echo '' ;;
    backup) echo '| file' ;;
    *) return 1 ;;
    esac
}

_subslabctl_commands='systems show alarms acknowledge shelve unshelve out-of-service
    return-to-service visits visit-done commission record radon-test
    radon-tests import export deliveries test-alert
    unclaimed refused check replay verify backup'

# _subslabctl_ask COMMAND…: its JSON, from the settings named on the line; nothing when no daemon
# answers at once
_subslabctl_ask() {
    timeout 2 "${program[@]}" "$@" --json 2>/dev/null </dev/null
}

# _subslabctl_ids KEY: the values of KEY in a list of objects. A line each would do for jq; this
# needs nothing but sed. Ids hold letters, digits and . _ - only.
_subslabctl_ids() {
    tr '{,' '\n\n' | sed -n "s/^ *\"$1\" *: *\"\{0,1\}\([A-Za-z0-9._-]*\)\"\{0,1\}[]} ]*\$/\1/p"
}

_subslabctl_systems() {
    _subslabctl_ask systems | _subslabctl_top_ids
}

# The id of each object at the top; objects within it have none of this depth.
_subslabctl_top_ids() {
    _subslabctl_ids id | sort -u
}

_subslabctl_offer() {
    local kind=$1 current=$2
    case $kind in
    system) mapfile -t COMPREPLY < <(compgen -W "$(_subslabctl_systems)" -- "$current") ;;
    point)
        mapfile -t COMPREPLY < <(compgen -W "$(_subslabctl_ask show "$system" |
            tr '\n' ' ' | sed 's/.*"points" *: *\[//' | _subslabctl_ids id | sort -u)" -- "$current")
        ;;
    alarm)
        mapfile -t COMPREPLY < <(compgen -W "$(_subslabctl_ask alarms | _subslabctl_top_ids)" -- "$current")
        ;;
    contact)
        mapfile -t COMPREPLY < <(compgen -W "$(_subslabctl_ask deliveries --limit 200 |
            _subslabctl_ids contact | sort -u)" -- "$current")
        ;;
    delivery)
        mapfile -t COMPREPLY < <(compgen -W "$(_subslabctl_ask deliveries --failed --limit 200 |
            _subslabctl_ids id)" -- "$current")
        ;;
    file)
        compopt -o filenames 2>/dev/null
        mapfile -t COMPREPLY < <(compgen -f -- "$current")
        ;;
    esac
}

# _subslabctl_option_value OPTION CURRENT: false when OPTION takes no value
_subslabctl_option_value() {
    case $1 in
    --settings | --ics | --commission | --alarms) _subslabctl_offer file "$2" ;;
    --system) _subslabctl_offer system "$2" ;;
    --again) _subslabctl_offer delivery "$2" ;;
    --as) mapfile -t COMPREPLY < <(compgen -W 'csv senml' -- "$2") ;;
    --status)
        local IFS=$'\n'
        mapfile -t COMPREPLY < <(compgen -W \
            $'in\\\\ spec\ndrifting\nout\\\\ of\\\\ spec\nsilent\nout\\\\ of\\\\ service' -- "$2")
        ;;
    --until | --by | --why | --note | --since | --on | --found | --did | --at | --from | --to | \
        --next-calibration | --learn | --limit | --before) ;;
    *) return 1 ;;
    esac
}

_subslabctl() {
    local current=${COMP_WORDS[COMP_CWORD]} previous=${COMP_WORDS[COMP_CWORD - 1]}
    local program=("${COMP_WORDS[0]}") command='' system='' count=0 i word described kinds
    COMPREPLY=()
    for ((i = 1; i < COMP_CWORD; i++)); do
        word=${COMP_WORDS[i]}
        case $word in
        --settings)
            ((i + 1 < COMP_CWORD)) && program+=(--settings "${COMP_WORDS[i + 1]}")
            ((i++))
            ;;
        --json | --all | --failed | --closed-house | --open-house | --new-baseline | --help | --version) ;;
        --learn) ((i += 2)) ;;
        -*) ((i++)) ;;
        *)
            if [[ -z $command ]]; then
                command=$word
            else
                [[ -n $system ]] || system=$word
                ((count++))
            fi
            ;;
        esac
    done
    _subslabctl_option_value "$previous" "$current" && return
    if [[ -z $command ]]; then
        mapfile -t COMPREPLY < <(compgen -W \
            "$_subslabctl_commands --settings --json --help --version" -- "$current")
        return
    fi
    described=$(_subslabctl_describe "$command") || return
    if [[ $current == -* ]]; then
        mapfile -t COMPREPLY < <(compgen -W "${described%%|*} --settings --help" -- "$current")
        return
    fi
    [[ $described == *'|'* ]] || return
    read -r -a kinds <<<"${described#*|}"
    ((count < ${#kinds[@]})) && _subslabctl_offer "${kinds[count]}" "$current"
}

complete -F _subslabctl subslabctl
