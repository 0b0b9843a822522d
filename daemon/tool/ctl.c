#include "tool/ctl.h"

#include "host/fleet_files.h"
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "settings/key_table.h"
#include "tool/ctl_client.h"
#include "tool/text.h"
#include "words/wording.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SETTINGS_BYTES_MAX ((size_t)1 << 20)

static const struct ctl_command *const groups[] = {
    ctl_system_commands,     ctl_alarm_commands,  ctl_visit_commands,    ctl_record_commands,
    ctl_radon_test_commands, ctl_series_commands, ctl_delivery_commands, ctl_enrol_commands,
    ctl_check_commands,      ctl_replay_commands, ctl_store_commands,    ctl_forget_commands,
    ctl_move_commands,       ctl_fan_commands,    ctl_report_commands,
};
enum { GROUPS = sizeof groups / sizeof groups[0] };

/* ---- commands ---- */

const struct ctl_command *ctl_command_at(size_t i) {
    for (size_t g = 0; g < GROUPS; g++) {
        for (const struct ctl_command *command = groups[g]; command->name; command++) {
            if (i-- == 0)
                return command;
        }
    }
    return NULL;
}

const struct ctl_command *ctl_find(const char *name) {
    const struct ctl_command *command = NULL;
    for (size_t i = 0; (command = ctl_command_at(i)); i++) {
        if (strcmp(command->name, name) == 0)
            break;
    }
    return command;
}

void ctl_print_help(void) {
    printf("usage: subslabctl [--settings FILE] [--json] COMMAND …\n"
           "\n"
           "Asks and tells subslabd, which watches radon mitigation systems.\n"
           "\n");
    for (size_t i = 0; ctl_command_at(i); i++)
        printf("  %-18s %s\n", ctl_command_at(i)->name, ctl_command_at(i)->summary);
    printf("\n"
           "  --settings FILE    default: %s;\n"
           "                     systems, alarms and visits take several\n"
           "  --language CODE    of what is printed, such as es; default: that of the\n"
           "                     environment; help and errors are in English\n"
           "  --json             print JSON: times in UTC, values in SI\n"
           "  --help, --version\n"
           "\n"
           "subslabctl COMMAND --help tells more of a command.\n"
           "Exit status: 0 done, 1 failed or the answer is no, 2 wrong use or bad settings.\n",
           CTL_SETTINGS_FILE);
}

static void print_command_help(const struct ctl_command *command) {
    printf("usage: subslabctl %s %s\n", command->name, command->usage);
    ctl_text_print(stdout, "", command->summary);
    if (command->help) {
        printf("\n");
        ctl_text_print(stdout, "", command->help);
    }
}

const char *ctl_nearest(const char *name) {
    const char *nearest = NULL;
    size_t least = strlen(name) > 4 ? 4 : 3;
    for (size_t i = 0; ctl_command_at(i); i++) {
        size_t away = key_distance(name, ctl_command_at(i)->name);
        if (away < least) {
            least = away;
            nearest = ctl_command_at(i)->name;
        }
    }
    return nearest;
}

/* ---- errors ---- */

enum ctl_status ctl_error(const struct ctl *ctl, enum ctl_status status, const char *format, ...) {
    char *text = NULL;
    va_list arguments;
    va_start(arguments, format);
    if (vasprintf(&text, format, arguments) < 0)
        text = NULL;
    va_end(arguments);
    char *clean = ctl_text_clean(text ? text : "out of memory");
    fprintf(stderr, "subslabctl: %s%s%s\n", ctl->command ? ctl->command->name : "",
            ctl->command ? ": " : "", clean ? clean : "out of memory");
    free(clean);
    free(text);
    return status;
}

void ctl_error_lines(const struct settings_errors *errors) {
    for (size_t i = 0; i < errors->count; i++) {
        char *clean = ctl_text_clean(errors->lines[i]);
        fprintf(stderr, "%s\n", clean ? clean : "out of memory");
        free(clean);
    }
}

void ctl_progress(const char *what, double done) {
    static bool shown = false;
    if (!isatty(STDERR_FILENO))
        return;
    if (done < 0.0) {
        if (shown)
            fprintf(stderr, "\r\033[K");
        shown = false;
        return;
    }
    shown = true;
    fprintf(stderr, "\r%s: %3.0f %%", what, 100.0 * done);
    fflush(stderr);
}

/* ---- arguments ---- */

/* "--name VALUE" or "--name=VALUE": how many arguments that took, 0 when it does not stand there.
 */
static int take_value(const char *name, int argc, char **argv, const char **value) {
    size_t length = strlen(name);
    bool joined = strncmp(argv[0], name, length) == 0 && argv[0][length] == '=';
    if (!joined && (strcmp(argv[0], name) != 0 || argc < 2))
        return 0;
    *value = joined ? argv[0] + length + 1 : argv[1];
    return joined ? 1 : 2;
}

int ctl_common_option(struct ctl *ctl, int argc, char **argv) {
    if (argc < 1)
        return 0;
    if (strcmp(argv[0], "--json") == 0) {
        ctl->json = true;
        return 1;
    }
    int taken = take_value("--language", argc, argv, &ctl->language_asked);
    if (taken)
        return taken;
    taken = take_value("--settings", argc, argv, &ctl->settings_file);
    ctl->settings_named |= taken > 0;
    if (taken && ctl->settings_count < CTL_SETTINGS_MAX)
        ctl->settings_files[ctl->settings_count++] = ctl->settings_file;
    return taken;
}

static const struct ctl_option *find_option(const struct ctl_arguments *arguments,
                                            const char *text) {
    for (size_t i = 0; i < arguments->option_count; i++) {
        const struct ctl_option *option = &arguments->options[i];
        size_t length = strlen(option->name);
        if (strncmp(text, option->name, length) == 0 &&
            (text[length] == '\0' || (text[length] == '=' && option->value)))
            return option;
    }
    return NULL;
}

/* Reads one option; returns how many arguments it took, 0 after an error. */
static int read_option(struct ctl *ctl, int argc, char **argv, struct ctl_arguments *arguments) {
    const struct ctl_option *option = find_option(arguments, argv[0]);
    int common = option ? 0 : ctl_common_option(ctl, argc, argv);
    if (common)
        return common;
    if (!option) {
        ctl_error(ctl, CTL_WRONG_USE, "unknown option %s; usage: subslabctl %s %s", argv[0],
                  ctl->command->name, ctl->command->usage);
        return 0;
    }
    if (!option->value) {
        *option->flag = true;
        return 1;
    }
    const char *joined = strchr(argv[0], '=');
    if (!joined && argc < 2) {
        ctl_error(ctl, CTL_WRONG_USE, "%s needs a value: %s %s", option->name, option->name,
                  option->value);
        return 0;
    }
    *option->text = joined ? joined + 1 : argv[1];
    return joined ? 1 : 2;
}

static bool is_option(const char *text) {
    return text[0] == '-' && text[1] == '-' && text[2] != '\0';
}

/* Options that are times are called T, DATE or TIME; the last may be a span from now too. */
static bool is_time(const struct ctl_option *option) {
    int64_t time_ms = 0;
    int year = 0, month = 0, day = 0;
    const char *text = *option->text;
    bool may_be_span = strcmp(option->value, "TIME") == 0;
    if (!may_be_span && strcmp(option->value, "T") != 0 && strcmp(option->value, "DATE") != 0)
        return true;
    return timestamp_parse(text, strlen(text), &time_ms) ||
           timestamp_parse_date(text, strlen(text), &year, &month, &day) ||
           (may_be_span && duration_parse(text, &time_ms));
}

static bool check_arguments(const struct ctl *ctl, const struct ctl_arguments *arguments) {
    const struct ctl_command *command = ctl->command;
    if (ctl->settings_count > 1 && !arguments->many_settings) {
        ctl_error(ctl, CTL_WRONG_USE, "takes one --settings; several: systems, alarms, visits");
        return false;
    }
    if (arguments->count < arguments->least || arguments->count > arguments->most) {
        ctl_error(ctl, CTL_WRONG_USE, "too %s arguments; usage: subslabctl %s %s",
                  arguments->count < arguments->least ? "few" : "many", command->name,
                  command->usage);
        return false;
    }
    for (size_t i = 0; i < arguments->option_count; i++) {
        const struct ctl_option *option = &arguments->options[i];
        if (option->required && (!*option->text || !**option->text)) {
            ctl_error(ctl, CTL_WRONG_USE, "%s %s is missing; usage: subslabctl %s %s", option->name,
                      option->value, command->name, command->usage);
            return false;
        }
        if (option->value && *option->text && !is_time(option)) {
            ctl_error(ctl, CTL_WRONG_USE,
                      "%s: \"%s\" is not a time; allowed: 2026-03-12, 2026-03-12T08:00:00Z%s",
                      option->name, *option->text,
                      strcmp(option->value, "TIME") == 0 ? ", or a span from now such as 3 d" : "");
            return false;
        }
    }
    return true;
}

/* As asked for, else that of the environment (POSIX, XBD 8.2): "es_MX.UTF-8". With --json only what
   is asked for. */
static bool choose_language(struct ctl *ctl) {
    static const char *const variables[] = {"LC_ALL", "LC_MESSAGES", "LANG"};
    const char *asked = ctl->language_asked, *value = NULL;
    char code[40];
    for (size_t i = 0; !asked && !ctl->json && !(value && *value) && i < 3; i++)
        value = getenv(variables[i]);
    snprintf(code, sizeof code, "%.*s", (int)strcspn(value ? value : "", "_.@"),
             value ? value : "");
    if (wording_language_find(asked ? asked : code, &ctl->language) || !asked)
        return true;
    ctl_error(ctl, CTL_WRONG_USE, "--language %s is not known, only the languages of messages",
              asked);
    return false;
}

bool ctl_arguments(struct ctl *ctl, int argc, char **argv, struct ctl_arguments *arguments) {
    bool options_over = false;
    arguments->operands = argv;
    arguments->count = 0;
    arguments->status = CTL_WRONG_USE;
    for (int i = 0; i < argc;) {
        if (!options_over && (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0)) {
            print_command_help(ctl->command);
            arguments->status = CTL_DONE;
            return false;
        }
        if (!options_over && strcmp(argv[i], "--") == 0) {
            options_over = true;
            i++;
        } else if (options_over || !is_option(argv[i])) {
            argv[arguments->count++] = argv[i++];
        } else {
            int taken = read_option(ctl, argc - i, argv + i, arguments);
            if (taken == 0)
                return false;
            i += taken;
        }
    }
    return check_arguments(ctl, arguments) && choose_language(ctl);
}

/* ---- settings ---- */

static bool use_settings(struct ctl *ctl) {
    ctl->socket = ctl->settings ? settings_path(ctl->settings, ctl->settings->operator_socket)
                                : strdup(CTL_SOCKET);
    ctl->units = ctl->settings ? ctl->settings->units : UNIT_SYSTEM_US;
    return ctl->socket != NULL;
}

/* Where the units put the socket of a daemon with these settings: subslabd.service that of
   subslabd.yaml, subslabd@north.service that of north.yaml. */
static char *socket_of_unit(const char *settings_file) {
    const char *slash = strrchr(settings_file, '/'), *name = slash ? slash + 1 : settings_file;
    int length = (int)strcspn(name, ".");
    char *path = NULL;
    if (strncmp(name, "subslabd.", 9) == 0)
        return strdup(CTL_SOCKET);
    return asprintf(&path, "/run/subslabd-%.*s/operator.sock", length, name) < 0 ? NULL : path;
}

/* An operator may use the socket and not read the settings, which may hold secrets. */
static bool settings_from_daemon(struct ctl *ctl) {
    struct ctl_answer answer;
    ctl->socket = socket_of_unit(ctl->settings_file);
    if (!ctl->socket || !ctl_request_any(ctl, "/health", NULL, &answer))
        return false;
    json_t *health = ctl_json_of(&answer);
    const char *units = json_string_value(json_object_get(health, "units"));
    ctl->units = units && strcmp(units, "si") == 0 ? UNIT_SYSTEM_SI : UNIT_SYSTEM_US;
    json_decref(health);
    return true;
}

bool ctl_settings(struct ctl *ctl) {
    size_t length = 0;
    if (ctl->socket)
        return true;
    char *text = fleet_files_read(ctl->settings_file, SETTINGS_BYTES_MAX, &length);
    if (!text && errno == EACCES)
        return settings_from_daemon(ctl);
    if (!text && (ctl->settings_named || errno != ENOENT)) {
        ctl_error(ctl, CTL_WRONG_USE, "%s: %s; name the settings with --settings FILE",
                  ctl->settings_file, strerror(errno));
        ctl->bad_settings = true;
        return false;
    }
    if (!text)
        return use_settings(ctl);
    struct settings_errors errors = {0};
    ctl->settings = settings_parse(ctl->settings_file, text, length, &errors);
    free(text);
    ctl_error_lines(&errors);
    settings_errors_free(&errors);
    ctl->bad_settings = !ctl->settings;
    return ctl->settings && use_settings(ctl);
}

void ctl_clear(struct ctl *ctl) {
    settings_free(ctl->settings);
    free(ctl->socket);
    time_zone_destroy(ctl->zone);
    ctl->settings = NULL;
    ctl->socket = NULL;
    ctl->zone = NULL;
}

void ctl_use_settings(struct ctl *ctl, const char *file) {
    ctl_clear(ctl);
    ctl->settings_file = file;
}
