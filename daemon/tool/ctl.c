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
    for (size_t i = 0; i < errors->count; i++)
        ctl_text_put(stderr, errors->lines[i]);
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

/* What the command allows. */
struct allowed {
    struct usage_item items[USAGE_ITEMS_MAX];
    size_t count;
};

static int values_of(const struct allowed *allowed, const char *option) {
    return usage_values(allowed->items, allowed->count, option);
}

static const struct usage_item *find_option(const struct allowed *allowed, const char *text) {
    for (size_t i = 0; i < allowed->count; i++) {
        const struct usage_item *item = &allowed->items[i];
        size_t length = strlen(item->word);
        if (item->role == USAGE_OPTION && strncmp(text, item->word, length) == 0 &&
            (text[length] == '\0' || (text[length] == '=' && values_of(allowed, item->word) == 1)))
            return item;
    }
    return NULL;
}

/* What the usage calls the first value of an option; "" for one without. */
static const char *value_word(const struct allowed *allowed, const char *option) {
    for (size_t i = 0; i < allowed->count; i++) {
        if (allowed->items[i].role == USAGE_VALUE && strcmp(allowed->items[i].option, option) == 0)
            return allowed->items[i].word;
    }
    return "";
}

static void keep(struct ctl_arguments *arguments, const char *option, const char *value) {
    struct ctl_given *given = &arguments->given[arguments->given_count++];
    snprintf(given->option, sizeof given->option, "%s", option);
    given->value = value;
}

/* Reads one option; returns how many arguments it took, 0 after an error. */
static int read_option(struct ctl *ctl, int argc, char **argv, const struct allowed *allowed,
                       struct ctl_arguments *arguments) {
    const struct usage_item *option = find_option(allowed, argv[0]);
    bool own = option && strcmp(option->word, "--json") != 0;
    int common = own ? 0 : ctl_common_option(ctl, argc, argv);
    if (common)
        return common;
    if (!option) {
        ctl_error(ctl, CTL_WRONG_USE, "unknown option %s; usage: subslabctl %s %s", argv[0],
                  ctl->command->name, ctl->command->usage);
        return 0;
    }
    const char *joined = strchr(argv[0], '=');
    int values = values_of(allowed, option->word);
    if (values == 0)
        keep(arguments, option->word, "");
    if (joined) {
        keep(arguments, option->word, joined + 1);
        return 1;
    }
    if (argc <= values) {
        const char *word = value_word(allowed, option->word);
        ctl_error(ctl, CTL_WRONG_USE, "%s needs a value: %s %s", option->word, option->word, word);
        return 0;
    }
    for (int i = 1; i <= values; i++)
        keep(arguments, option->word, argv[i]);
    return 1 + values;
}

static bool is_option(const char *text) {
    return text[0] == '-' && text[1] == '-' && text[2] != '\0';
}

/* Values that are times are called T, DATE or TIME; the last may be a span from now too. */
static bool is_time(const char *word, const char *text) {
    int64_t time_ms = 0;
    int year = 0, month = 0, day = 0;
    bool may_be_span = strcmp(word, "TIME") == 0;
    if (!may_be_span && strcmp(word, "T") != 0 && strcmp(word, "DATE") != 0)
        return true;
    return timestamp_parse(text, strlen(text), &time_ms) ||
           timestamp_parse_date(text, strlen(text), &year, &month, &day) ||
           (may_be_span && duration_parse(text, &time_ms));
}

/* A value may be one argument or two: "0.62 inH2O", or the number and its unit. */
static bool join_value(const struct allowed *allowed, struct ctl_arguments *arguments, int most) {
    const struct usage_item *last = NULL;
    for (size_t i = 0; i < allowed->count; i++) {
        if (allowed->items[i].role == USAGE_OPERAND)
            last = &allowed->items[i];
    }
    if (!last || strcmp(last->word, "VALUE") != 0 || arguments->count != most + 1)
        return true;
    char **value = &arguments->operands[most - 1];
    if (asprintf(&arguments->joined, "%s %s", value[0], value[1]) < 0)
        arguments->joined = NULL;
    value[0] = arguments->joined;
    arguments->count--;
    return value[0] != NULL;
}

static bool check_operands(const struct ctl *ctl, const struct allowed *allowed,
                           struct ctl_arguments *arguments) {
    int least, most;
    usage_operands(allowed->items, allowed->count, &least, &most);
    if (!join_value(allowed, arguments, most)) {
        ctl_error(ctl, CTL_FAILED, "out of memory");
        return false;
    }
    if (arguments->count >= least && arguments->count <= most)
        return true;
    ctl_error(ctl, CTL_WRONG_USE, "too %s arguments; usage: subslabctl %s %s",
              arguments->count < least ? "few" : "many", ctl->command->name, ctl->command->usage);
    return false;
}

/* Where there are several ways to use a command, it says itself what is missing. */
static bool check_option(const struct ctl *ctl, const struct allowed *allowed,
                         const struct ctl_arguments *arguments, const struct usage_item *option) {
    const char *value = ctl_option(arguments, option->word);
    const char *word = value_word(allowed, option->word);
    bool one_way = allowed->items[allowed->count - 1].way == 0;
    if (option->needed && one_way && (!value || !*value)) {
        ctl_error(ctl, CTL_WRONG_USE, "%s %s is missing; usage: subslabctl %s %s", option->word,
                  word, ctl->command->name, ctl->command->usage);
        return false;
    }
    if (!value || is_time(word, value))
        return true;
    ctl_error(ctl, CTL_WRONG_USE,
              "%s: \"%s\" is not a time; allowed: 2026-03-12, 2026-03-12T08:00:00Z%s", option->word,
              value, strcmp(word, "TIME") == 0 ? ", or a span from now such as 3 d" : "");
    return false;
}

/* Lists that several daemons have together. */
static bool takes_many_settings(const char *command) {
    static const char *const names[] = {"systems", "alarms", "visits"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (strcmp(names[i], command) == 0)
            return true;
    }
    return false;
}

static bool check_arguments(const struct ctl *ctl, const struct allowed *allowed,
                            struct ctl_arguments *arguments) {
    if (ctl->settings_count > 1 && !takes_many_settings(ctl->command->name)) {
        ctl_error(ctl, CTL_WRONG_USE, "takes one --settings; several: systems, alarms, visits");
        return false;
    }
    bool good = check_operands(ctl, allowed, arguments);
    for (size_t i = 0; i < allowed->count && good; i++) {
        if (allowed->items[i].role == USAGE_OPTION)
            good = check_option(ctl, allowed, arguments, &allowed->items[i]);
    }
    return good;
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

/* False when the program is to end: after help, or after an error. */
static bool read_arguments(struct ctl *ctl, int argc, char **argv, const struct allowed *allowed,
                           struct ctl_arguments *arguments) {
    bool options_over = false;
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
            arguments->operands[arguments->count++] = argv[i++];
        } else {
            int taken = read_option(ctl, argc - i, argv + i, allowed, arguments);
            if (taken == 0)
                return false;
            i += taken;
        }
    }
    return true;
}

bool ctl_arguments(struct ctl *ctl, int argc, char **argv, struct ctl_arguments *arguments) {
    struct allowed allowed;
    allowed.count = usage_read(ctl->command->usage, allowed.items);
    *arguments = (struct ctl_arguments){.operands = argv, .status = CTL_WRONG_USE};
    arguments->given = calloc((size_t)argc + 1, sizeof *arguments->given);
    if (!arguments->given) {
        arguments->status = ctl_error(ctl, CTL_FAILED, "out of memory");
        return false;
    }
    return read_arguments(ctl, argc, argv, &allowed, arguments) &&
           check_arguments(ctl, &allowed, arguments) && choose_language(ctl);
}

void ctl_arguments_clear(struct ctl_arguments *arguments) {
    free(arguments->given);
    free(arguments->joined);
}

const char *ctl_option_at(const struct ctl_arguments *arguments, const char *name, size_t i) {
    for (size_t k = 0; k < arguments->given_count; k++) {
        if (strcmp(arguments->given[k].option, name) == 0 && i-- == 0)
            return arguments->given[k].value;
    }
    return NULL;
}

const char *ctl_option(const struct ctl_arguments *arguments, const char *name) {
    const char *last = NULL, *value;
    for (size_t i = 0; (value = ctl_option_at(arguments, name, i)); i++)
        last = value;
    return last;
}

bool ctl_flag(const struct ctl_arguments *arguments, const char *name) {
    return ctl_option(arguments, name) != NULL;
}

enum ctl_status ctl_wrong_use(const struct ctl *ctl) {
    return ctl_error(ctl, CTL_WRONG_USE, "usage: subslabctl %s %s", ctl->command->name,
                     ctl->command->usage);
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
