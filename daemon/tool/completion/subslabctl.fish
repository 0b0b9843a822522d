# Completion of subslabctl in fish. The program itself knows what may come (`subslabctl --complete`),
# so it is never another than its table of commands.
function __subslabctl_offers
    set -l before (commandline -opc)
    set -l current (commandline -ct)
    set -l offered (timeout 2 $before[1] --complete $before[2..-1] "$current" 2>/dev/null </dev/null)
    if test "$offered[1]" = ":files"
        __fish_complete_path "$current"
    else
        printf '%s\n' $offered
    end
end

complete -c subslabctl -f -a '(__subslabctl_offers)'
