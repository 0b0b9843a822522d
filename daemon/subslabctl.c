/*
 * subslabctl: the operator's tool. Options, then one command of the table.
 */
#include "tool/complete.h"
#include "tool/ctl.h"
#include "tool/ctl_client.h"

#include <stdio.h>
#include <string.h>

static enum ctl_status run_command(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments given;
    enum ctl_status status =
        ctl_arguments(ctl, argc, argv, &given) ? ctl->command->run(ctl, &given) : given.status;
    ctl_arguments_clear(&given);
    return status;
}

static enum ctl_status run(struct ctl *ctl, int argc, char **argv) {
    if (argc > 0 && strcmp(argv[0], "--complete") == 0) /* for the completion of shells */
        return ctl_complete(ctl, argc - 1, argv + 1);
    while (argc > 0) {
        int taken = ctl_common_option(ctl, argc, argv);
        if (taken == 0)
            break;
        argc -= taken;
        argv += taken;
    }
    if (argc > 0 && (strcmp(argv[0], "--help") == 0 || strcmp(argv[0], "-h") == 0)) {
        ctl_print_help();
        return CTL_DONE;
    }
    if (argc > 0 && strcmp(argv[0], "--version") == 0) {
        printf("subslabctl " SUBSLAB_VERSION "\n");
        return CTL_DONE;
    }
    if (argc == 0)
        return ctl_error(ctl, CTL_WRONG_USE, "no command; see: subslabctl --help");
    if (argv[0][0] == '-')
        return ctl_error(ctl, CTL_WRONG_USE, "unknown option %s; see: subslabctl --help", argv[0]);
    ctl->command = ctl_find(argv[0]);
    if (ctl->command)
        return run_command(ctl, argc - 1, argv + 1);
    const char *nearest = ctl_nearest(argv[0]);
    return ctl_error(ctl, CTL_WRONG_USE, "unknown command %s%s%s; see: subslabctl --help", argv[0],
                     nearest ? "; did you mean " : "", nearest ? nearest : "");
}

int main(int argc, char **argv) {
    struct ctl ctl = {.settings_file = CTL_SETTINGS_FILE};
    enum ctl_status status = run(&ctl, argc - 1, argv + 1);
    if (ctl.bad_settings)
        status = CTL_WRONG_USE;
    ctl_client_clear();
    ctl_clear(&ctl);
    /* A full disk behind a redirection must not look like success. */
    if (fflush(stdout) != 0 || ferror(stdout)) {
        perror("subslabctl: standard output");
        status = status == CTL_DONE ? CTL_FAILED : status;
    }
    return (int)status;
}
