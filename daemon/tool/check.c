/*
 * check: settings and system files, without a daemon: what the daemon reads at its start, and what
 * it would find out only later (secrets, templates).
 */
#include "host/fleet_files.h"
#include "host/named_files.h"
#include "settings/yaml_tree.h"
#include "tool/words.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define FILE_BYTES_MAX ((size_t)1 << 20)

/* ---- one settings file and all it names ---- */

/* Some brokers take a dot for a slash, and then no point takes what they hand on. */
static void note_dots(const struct ctl *ctl, const struct fleet *fleet) {
    for (size_t i = 0; i < fleet->point_count; i++) {
        const struct point_description *point = fleet->points[i].description;
        if (!strchr(point->topic, '.'))
            continue;
        ctl_tell(ctl, PAGE_TOOL_TOPIC_DOT, point->topic, NULL);
        return;
    }
}

static void check_settings_file(const struct ctl *ctl, const char *file,
                                struct settings_errors *errors) {
    struct fleet *fleet = fleet_files_load(file, NULL, errors);
    if (!fleet)
        return;
    named_files_check(fleet->settings, errors);
    if (errors->count == 0) {
        ctl_tell(ctl, PAGE_TOOL_CHECKED, file, CTL_COUNT(fleet->system_count),
                 CTL_COUNT(fleet->point_count), CTL_COUNT(fleet->settings->contact_count), NULL);
        if (fleet->settings->contact_count == 0)
            ctl_tell(ctl, PAGE_TOOL_NOBODY_TOLD, NULL);
        note_dots(ctl, fleet);
    }
    fleet_destroy(fleet);
}

/* ---- system files named one by one ---- */

struct checked_systems {
    const struct ctl *ctl;
    const struct settings *settings; /* NULL: on their own */
    struct system_description **items;
    size_t count;
};

static char *read_file(const char *file, size_t *length, struct settings_errors *errors) {
    char *text = fleet_files_read(file, FILE_BYTES_MAX, length);
    if (!text)
        settings_errors_add(errors, "%s:1: file: %s; allowed: a file that can be read", file,
                            strerror(errno));
    return text;
}

static void add_system(struct checked_systems *systems, const char *file, const char *text,
                       size_t length, struct settings_errors *errors) {
    struct system_description *system =
        system_description_parse(file, text, length, systems->settings, errors);
    if (!system)
        return;
    fleet_files_check_zone(system, errors);
    systems->items[systems->count++] = system;
}

/* Told by content: settings have a broker or systems. */
static bool is_settings(const char *file, const char *text, size_t length) {
    struct settings_errors ignored = {0};
    struct yaml_tree_node *root = yaml_tree_parse(file, text, length, &ignored);
    bool found = root && (yaml_tree_find(root, "broker") || yaml_tree_find(root, "systems"));
    yaml_tree_free(root);
    settings_errors_free(&ignored);
    return found;
}

static void check_file(struct checked_systems *systems, const char *file,
                       struct settings_errors *errors) {
    size_t length = 0;
    char *text = read_file(file, &length, errors);
    if (text && is_settings(file, text, length))
        check_settings_file(systems->ctl, file, errors);
    else if (text)
        add_system(systems, file, text, length, errors);
    free(text);
}

static void print_systems(const struct checked_systems *systems) {
    for (size_t i = 0; i < systems->count; i++)
        ctl_tell(systems->ctl, PAGE_TOOL_CHECKED_SYSTEM, systems->items[i]->file,
                 systems->items[i]->id, CTL_COUNT(systems->items[i]->point_count), NULL);
}

static bool read_settings(struct ctl *ctl, struct settings_errors *errors) {
    size_t length = 0;
    char *text = fleet_files_read(ctl->settings_file, FILE_BYTES_MAX, &length);
    if (text)
        ctl->settings = settings_parse(ctl->settings_file, text, length, errors);
    else if (ctl->settings_named)
        settings_errors_add(errors, "%s:1: settings: %s; name another file with --settings FILE",
                            ctl->settings_file, strerror(errno));
    free(text);
    if (ctl->settings)
        fleet_files_load_fans(ctl->settings, errors);
    return errors->count == 0;
}

static void check_files(struct ctl *ctl, char **files, int count, struct settings_errors *errors) {
    struct checked_systems systems = {
        .ctl = ctl, .items = calloc((size_t)count, sizeof(struct system_description *))};
    if (systems.items && read_settings(ctl, errors)) {
        systems.settings = ctl->settings;
        for (int i = 0; i < count; i++)
            check_file(&systems, files[i], errors);
        if (systems.settings)
            system_descriptions_check(systems.items, systems.count, systems.settings, errors);
    }
    if (errors->count == 0)
        print_systems(&systems);
    for (size_t i = 0; i < systems.count; i++)
        system_description_free(systems.items[i]);
    free(systems.items);
}

static enum ctl_status check(struct ctl *ctl, const struct ctl_arguments *given) {
    struct settings_errors errors = {0};
    if (given->count == 0)
        check_settings_file(ctl, ctl->settings_file, &errors);
    else
        check_files(ctl, given->operands, given->count, &errors);
    ctl_error_lines(&errors);
    enum ctl_status status = errors.count ? CTL_WRONG_USE : CTL_DONE;
    settings_errors_free(&errors);
    return status;
}

const struct ctl_command ctl_check_commands[] = {
    {"check", "[FILE …]", "checks settings and system files; needs no daemon",
     "Without FILE: the settings and all systems they name, secrets and templates too. FILE is a "
     "system file, checked against the settings when they can be read, or a settings file. Each "
     "error is a line FILE:LINE: key: what is wrong, and what is allowed; then the exit status is "
     "2.",
     check},
    {0},
};
