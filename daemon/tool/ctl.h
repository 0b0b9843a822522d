/*
 * ctl: what the commands of subslabctl share: arguments, settings, errors.
 */
#ifndef DAEMON_TOOL_CTL_H
#define DAEMON_TOOL_CTL_H

#include "settings/settings.h"
#include "tool/usage.h"

#include <stdbool.h>
#include <stddef.h>

#define CTL_SETTINGS_FILE "/etc/subslabd/subslabd.yaml"
#define CTL_SETTINGS_MAX 64
#define CTL_SOCKET "/run/subslabd/operator.sock"

/** Exit statuses of the contract. */
enum ctl_status { CTL_DONE = 0, CTL_FAILED = 1, CTL_WRONG_USE = 2 };

struct ctl {
    const char *settings_file;
    bool settings_named;                          /* by --settings */
    const char *settings_files[CTL_SETTINGS_MAX]; /* all that were named, in order */
    size_t settings_count;
    bool bad_settings;         /* they were read and are wrong: the exit status is 2 */
    bool json;                 /* --json */
    struct settings *settings; /* read on first use; NULL: not read, or there is no file */
    char *socket;              /* operator socket, set by ctl_settings */
    enum unit_system units;
    struct time_zone *zone;     /* of the times that are printed, set by ctl_use_zone; NULL: UTC */
    const char *language_asked; /* by --language; NULL: that of the environment */
    size_t language;            /* of what is printed (words/wording.h), set by ctl_arguments */
    const struct ctl_command *command;
};

struct ctl_arguments;

struct ctl_command {
    const char *name;
    const char *usage;   /* "ALARM --by NAME [--note TEXT]" (usage.h): what may be given */
    const char *summary; /* one line for the list of commands */
    const char *help;    /* sentences, or NULL */
    enum ctl_status (*run)(struct ctl *ctl, const struct ctl_arguments *given);
};

/* The groups; each ends in a row without a name. */
extern const struct ctl_command ctl_system_commands[], ctl_alarm_commands[], ctl_record_commands[],
    ctl_radon_test_commands[], ctl_visit_commands[], ctl_series_commands[], ctl_delivery_commands[],
    ctl_store_commands[], ctl_check_commands[], ctl_replay_commands[], ctl_enrol_commands[],
    ctl_forget_commands[], ctl_move_commands[], ctl_fan_commands[], ctl_report_commands[];

/** Finds a command by name, NULL when there is none. */
const struct ctl_command *ctl_find(const char *name);
/** The i-th of all commands in the order of the help, NULL behind the last. */
const struct ctl_command *ctl_command_at(size_t i);
/** `subslabctl --help`. */
void ctl_print_help(void);
/** The command whose name is nearest to a mistyped one, NULL when none is near. */
const char *ctl_nearest(const char *name);

/** What was given to a command, as its usage says what may be. */
struct ctl_arguments {
    char **operands; /* the arguments that are no options, in their order */
    int count;
    struct ctl_given {
        char option[USAGE_WORD_SIZE]; /* "--by" */
        const char *value;            /* "" of an option without one */
    } * given;                        /* each value, in order */
    size_t given_count;
    char *joined;           /* an operand that was given as two: a value and its unit */
    enum ctl_status status; /* when ctl_arguments returns false */
};

/**
 * Reads the arguments behind ctl->command; options may stand anywhere. --help, --json, --language
 * and --settings are understood everywhere. Chooses the language. False when the program is to end
 * with arguments->status (help was printed, or the use was wrong and that was said). To be cleared
 * in either case.
 */
bool ctl_arguments(struct ctl *ctl, int argc, char **argv, struct ctl_arguments *arguments);
void ctl_arguments_clear(struct ctl_arguments *arguments);

/** The value of an option, the last that was given; NULL: none. */
const char *ctl_option(const struct ctl_arguments *arguments, const char *name);
/** The i-th value of one that takes several, or that may come often; NULL behind the last. */
const char *ctl_option_at(const struct ctl_arguments *arguments, const char *name, size_t i);
/** Was it given? */
bool ctl_flag(const struct ctl_arguments *arguments, const char *name);
/** `usage: …`, for what the usage alone does not tell. Returns CTL_WRONG_USE. */
enum ctl_status ctl_wrong_use(const struct ctl *ctl);

/** Takes --settings, --language, --json out of the start of the arguments; returns how many were
 * used. */
int ctl_common_option(struct ctl *ctl, int argc, char **argv);

/**
 * Reads the settings: socket, units, store. Without --settings a missing file is no error: then the
 * defaults hold. Where they may not be read the socket is that of the unit, and the daemon says in
 * which units values are shown. False after the errors were printed.
 */
bool ctl_settings(struct ctl *ctl);
/** Other settings from here on: those of the next daemon. Borrowed. */
void ctl_use_settings(struct ctl *ctl, const char *file);
void ctl_clear(struct ctl *ctl);

/** Prints "subslabctl: COMMAND: …" to standard error, free of terminal escapes. Returns status. */
enum ctl_status ctl_error(const struct ctl *ctl, enum ctl_status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/** Prints lines such as "FILE:LINE: key: …" as they are. */
void ctl_error_lines(const struct settings_errors *errors);

/** A line of progress on standard error, only on a terminal. A negative share ends the line. */
void ctl_progress(const char *what, double done);

#endif
