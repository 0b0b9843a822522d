#include "settings/settings.h"

#include "measure/duration.h"
#include "settings/checked_text.h"
#include "settings/condition_settings.h"
#include "settings/contact_settings.h"
#include "settings/key_table.h"

#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct settings, field)

static const struct key_word unit_words[] = {
    {"us", UNIT_SYSTEM_US}, {"si", UNIT_SYSTEM_SI}, {NULL, 0}};

static const struct key_row heartbeat_rows[] = {
    {.key = "url",
     KEY_TEXT_AT(AT(heartbeat.url), checked_text_url, "https://HOST/PATH"),
     .required = true,
     .secret = true}, /* the path names us to the watcher */
    {.key = "every",
     KEY_RANGE_AT(KEY_SPAN, AT(heartbeat.every_ms), 10 * DURATION_SECOND_MS, DURATION_DAY_MS,
                  "a time between heartbeats", "10 s to 1 d"),
     .otherwise = "5 min"},
    {.key = "allow_private", KEY_SWITCH_AT(AT(heartbeat.allow_private_address)), .otherwise = "no"},
};

static void read_heartbeat(const struct key_at *at, void *target) {
    const struct settings_heartbeat *heartbeat = &((struct settings *)target)->heartbeat;
    key_map_read(at, KEY_ROWS(heartbeat_rows), target);
    const struct key_at url = key_child(at, "url");
    if (heartbeat->url && !checked_text_url_is_https(heartbeat->url) &&
        !checked_text_url_is_loopback(heartbeat->url) && !heartbeat->allow_private_address)
        key_refuse(&url, "is plain http; allowed: https, http to this machine, or with "
                         "allow_private: yes");
}

static const struct key_row store_rows[] = {
    {.key = "file",
     KEY_TEXT_AT(AT(store_file), checked_text_file_name, "a file name"),
     .otherwise = "/var/lib/subslabd/subslab.db"},
    {.key = "keep_readings",
     KEY_RANGE_AT(KEY_SPAN, AT(keep_readings_ms), DURATION_DAY_MS, 100 * DURATION_YEAR_MS,
                  "a time to keep readings", "1 d to 100 y"),
     .otherwise = "10 y"},
};

static void read_page_hosts(const struct key_at *at, void *target) {
    struct settings_page *page = &((struct settings *)target)->page;
    key_text_list(at, checked_text_host, "a list of host names", &page->hosts, &page->host_count);
}

static const struct key_row page_rows[] = {
    {.key = "address",
     KEY_TEXT_AT(AT(page.address), checked_text_host, "an IP address or localhost"),
     .otherwise = "127.0.0.1"},
    {.key = "port",
     KEY_RANGE_AT(KEY_INTEGER, AT(page.port), 0.0, 65535, "a port", "1 to 65535, or 0 for no page"),
     .otherwise = "8148"},
    {.key = "access_file", KEY_FILE_AT(AT(page.access_file), AT(page.access_line))},
    {.key = "hosts", KEY_PART_AT(0, read_page_hosts)},
    {.key = "base", KEY_TEXT_AT(AT(page.base), checked_text_base, "a path such as /radon")},
};

static void read_page(const struct key_at *at, void *target) {
    const struct settings_page *page = &((struct settings *)target)->page;
    key_map_read(at, KEY_ROWS(page_rows), target);
    const struct key_at address = key_child(at, "address"), hosts = key_child(at, "hosts");
    bool is_open = page->port > 0 && !page->access_file;
    if (is_open && address.node && page->address && !checked_text_host_is_loopback(page->address))
        key_error(&address, "is open to others without accounts; allowed: 127.0.0.1, ::1, or with "
                            "page.access_file");
    if (is_open && page->host_count > 0)
        key_error(&hosts, "opens the page to others without accounts; name a file of accounts as "
                          "page.access_file, or take hosts out");
}

static void read_action_level(const struct key_at *at, void *target) {
    static const char allowed[] = "10 Bq/m3 to 10000 Bq/m3, such as 4 pCi/L";
    struct settings *settings = target;
    const char *text = at->node ? key_scalar(at, allowed) : "4 pCi/L";
    double level_bq_m3 = 0.0;
    if (!text)
        return;
    if (unit_parse(text, DIMENSION_RADON, &level_bq_m3) != UNIT_OK || level_bq_m3 < 10.0 ||
        level_bq_m3 > 10000.0) {
        key_error(at, "%.60s is not an action level; allowed: %s", text, allowed);
        return;
    }
    settings->radon_action_level_bq_m3 = level_bq_m3;
    settings->radon_action_level_text = key_copy(at, text);
}

static void read_systems(const struct key_at *at, void *target) {
    static const char allowed[] = "a folder such as systems/, or a list of files";
    struct settings *settings = target;
    if (at->node && at->node->kind == YAML_TREE_LIST) {
        key_text_list(at, checked_text_file_name, allowed, &settings->system_files,
                      &settings->system_file_count);
        return;
    }
    const char *text = at->node ? key_scalar(at, allowed) : "systems/";
    settings->systems_line = at->node ? at->line : 1;
    const char *problem = text ? checked_text_file_name(text) : NULL;
    if (problem)
        key_error(at, "%s", problem);
    else if (text)
        settings->systems_folder = key_copy(at, text);
}

static void read_conditions(const struct key_at *at, void *target) {
    static const struct condition_settings fleet = {.level = LEVEL_FLEET};
    struct settings *settings = target;
    struct condition_list list = {0};
    condition_settings_read(at, &fleet, &list);
    condition_settings_finish(at->up, &fleet, &list);
    settings->conditions = list.overrides;
    settings->condition_count = list.count;
}

static void read_contacts(const struct key_at *at, void *target) {
    struct settings *settings = target;
    const struct contact_list list = contact_settings_read(at);
    settings->contacts = list.contacts;
    settings->contact_count = list.count;
}

static const struct key_row settings_rows[] = {
    {.key = "broker", KEY_PART_AT(AT(broker), broker_settings_read), .otherwise = ""},
    {.key = "store", KEY_MAP_BY(store_rows), .otherwise = ""},
    {.key = "page", KEY_PART_AT(0, read_page), .otherwise = ""},
    {.key = "operator_socket",
     KEY_TEXT_AT(AT(operator_socket), checked_text_socket_name, "a file name"),
     .otherwise = "/run/subslabd/operator.sock"},
    {.key = "heartbeat", KEY_PART_AT(0, read_heartbeat)},
    {.key = "units",
     KEY_WORD_AT(AT(units), unit_words, "a system of units", "us or si"),
     .otherwise = "us"},
    {.key = "radon_action_level", KEY_PART_AT(0, read_action_level), .otherwise = ""},
    {.key = "retest_every",
     KEY_RANGE_AT(KEY_SPAN, AT(retest_every_ms), 0.0, 10 * DURATION_YEAR_MS,
                  "a time between radon tests", "none, or to 10 y"),
     .otherwise = "2 y"},
    {.key = "visit_every",
     KEY_RANGE_AT(KEY_SPAN, AT(visit_every_ms), 0.0, 10 * DURATION_YEAR_MS, "a time between visits",
                  "none, or to 10 y"),
     .otherwise = "none"},
    {.key = "systems", KEY_PART_AT(0, read_systems), .otherwise = ""},
    {.key = "enrolled_systems",
     KEY_TEXT_AT(AT(enrolled.name), checked_text_file_name,
                 "a folder such as /var/lib/subslabd/systems/"),
     .line_offset = AT(enrolled.line)},
    {.key = "fans",
     KEY_TEXT_AT(AT(fans.folder), checked_text_file_name, "a folder such as fans/"),
     .line_offset = AT(fans.line)},
    {.key = "contractor", KEY_PART_AT(AT(contractor), contractor_read)},
    {.key = "contacts", KEY_PART_AT(0, read_contacts)},
    {.key = "conditions", KEY_PART_AT(0, read_conditions)},
};

static void read_settings(const struct key_at *all, void *target) {
    struct settings *settings = target;
    settings->file = key_copy(all, all->reader->file);
    key_map_read(all, KEY_ROWS(settings_rows), settings);
}

struct settings *settings_parse(const char *file, const char *text, size_t length,
                                struct settings_errors *errors) {
    struct key_reader reader = {.file = file, .errors = errors};
    return key_read_file(&reader, text, length, sizeof(struct settings), read_settings);
}

struct settings *settings_share(struct settings *settings) {
    atomic_fetch_add(&settings->sharers, 1);
    return settings;
}

void settings_free(struct settings *settings) {
    if (!settings || atomic_fetch_sub(&settings->sharers, 1) > 0)
        return;
    fan_models_clear(&settings->fans);
    arena_free(settings->memory);
}

char *settings_path(const struct settings *settings, const char *name) {
    const char *slash = strrchr(settings->file, '/');
    if (name[0] == '/' || !slash)
        return strdup(name);
    size_t folder = (size_t)(slash - settings->file) + 1, length = strlen(name) + 1;
    char *path = malloc(folder + length);
    if (!path)
        return NULL;
    memcpy(path, settings->file, folder);
    memcpy(path + folder, name, length);
    return path;
}
