#include "settings/settings.h"

#include "measure/array.h"
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

static void read_heartbeat(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *node, void *target) {
    struct settings_heartbeat *heartbeat = &((struct settings *)target)->heartbeat;
    key_map_read(reader, path, node, KEY_ROWS(heartbeat_rows), target);
    const struct yaml_tree_entry *url = yaml_tree_find(node, "url");
    const struct key_path here = {.up = path, .name = "url"};
    if (heartbeat->url && !checked_text_url_is_https(heartbeat->url) &&
        !checked_text_url_is_loopback(heartbeat->url) && !heartbeat->allow_private_address)
        key_error(reader, &here, url->line,
                  "is plain http; allowed: https, http to this machine, or with allow_private: "
                  "yes");
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

static void read_store(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, void *target) {
    key_map_read(reader, path, node, KEY_ROWS(store_rows), target);
}

static void read_page_hosts(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    struct settings *settings = target;
    key_text_list(reader, path, node, checked_text_host, "a list of host names",
                  &settings->page.hosts, &settings->page.host_count);
}

static const struct key_row page_rows[] = {
    {.key = "address",
     KEY_TEXT_AT(AT(page.address), checked_text_host, "an IP address or localhost"),
     .otherwise = "127.0.0.1"},
    {.key = "port",
     KEY_RANGE_AT(KEY_INTEGER, AT(page.port), 0.0, 65535, "a port", "1 to 65535, or 0 for no page"),
     .otherwise = "8148"},
    {.key = "access_file",
     KEY_TEXT_AT(AT(page.access_file), checked_text_file_name, "a file name"),
     .line_offset = AT(page.access_line)},
    {.key = "hosts", .kind = KEY_PART, .read = read_page_hosts},
    {.key = "base", KEY_TEXT_AT(AT(page.base), checked_text_base, "a path such as /radon")},
};

static void read_page(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    struct settings *settings = target;
    key_map_read(reader, path, node, KEY_ROWS(page_rows), target);
    const struct yaml_tree_entry *address = yaml_tree_find(node, "address");
    struct key_path here = {.up = path, .name = "address"};
    if (address && settings->page.port > 0 && settings->page.address &&
        !settings->page.access_file && !checked_text_host_is_loopback(settings->page.address))
        key_error(reader, &here, address->value.line,
                  "is open to others without accounts; allowed: 127.0.0.1, ::1, or with "
                  "page.access_file");
    const struct yaml_tree_entry *hosts = yaml_tree_find(node, "hosts");
    here.name = "hosts";
    if (settings->page.host_count > 0 && settings->page.port > 0 && !settings->page.access_file)
        key_error(reader, &here, hosts->value.line,
                  "opens the page to others without accounts; name a file of accounts as "
                  "page.access_file, or take hosts out");
}

static void read_action_level(struct key_reader *reader, const struct key_path *path,
                              const struct yaml_tree_node *node, void *target) {
    static const char allowed[] = "10 Bq/m3 to 10000 Bq/m3, such as 4 pCi/L";
    struct settings *settings = target;
    const char *text = node ? key_scalar(reader, path, node, allowed) : "4 pCi/L";
    double level_bq_m3 = 0.0;
    if (!text)
        return;
    if (unit_parse(text, DIMENSION_RADON, &level_bq_m3) != UNIT_OK || level_bq_m3 < 10.0 ||
        level_bq_m3 > 10000.0) {
        key_error(reader, path, node ? node->line : 0, "%.60s is not an action level; allowed: %s",
                  text, allowed);
        return;
    }
    settings->radon_action_level_bq_m3 = level_bq_m3;
    settings->radon_action_level_text = key_copy(reader, text);
}

static void read_systems(struct key_reader *reader, const struct key_path *path,
                         const struct yaml_tree_node *node, void *target) {
    static const char allowed[] = "a folder such as systems/, or a list of files";
    struct settings *settings = target;
    if (node && node->kind == YAML_TREE_LIST) {
        key_text_list(reader, path, node, checked_text_file_name, allowed, &settings->system_files,
                      &settings->system_file_count);
        return;
    }
    const char *text = node ? key_scalar(reader, path, node, allowed) : "systems/";
    settings->systems_line = node ? node->line : 1;
    const char *problem = text ? checked_text_file_name(text) : NULL;
    if (problem)
        key_error(reader, path, node ? node->line : 0, "%s", problem);
    else if (text)
        settings->systems_folder = key_copy(reader, text);
}

static void read_conditions(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    static const struct condition_settings fleet = {.level = LEVEL_FLEET};
    struct settings *settings = target;
    struct condition_list list = {0};
    condition_settings_read(reader, path, node, &fleet, &list);
    condition_settings_finish(reader, NULL, &fleet, &list);
    settings->conditions = list.overrides;
    settings->condition_count = list.count;
}

static void read_contacts(struct key_reader *reader, const struct key_path *path,
                          const struct yaml_tree_node *node, void *target) {
    struct settings *settings = target;
    const struct contact_list list = contact_settings_read(reader, path, node);
    settings->contacts = list.contacts;
    settings->contact_count = list.count;
}

static void read_contractor(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    contractor_read(reader, path, node, &((struct settings *)target)->contractor);
}

static void read_broker(struct key_reader *reader, const struct key_path *path,
                        const struct yaml_tree_node *node, void *target) {
    broker_settings_read(reader, path, node, &((struct settings *)target)->broker);
}

static const struct key_row settings_rows[] = {
    {.key = "broker", .kind = KEY_PART, .otherwise = "", .read = read_broker},
    {.key = "store", .kind = KEY_PART, .otherwise = "", .read = read_store},
    {.key = "page", .kind = KEY_PART, .otherwise = "", .read = read_page},
    {.key = "operator_socket",
     KEY_TEXT_AT(AT(operator_socket), checked_text_socket_name, "a file name"),
     .otherwise = "/run/subslabd/operator.sock"},
    {.key = "heartbeat", .kind = KEY_PART, .read = read_heartbeat},
    {.key = "units",
     KEY_WORD_AT(AT(units), unit_words, "a system of units", "us or si"),
     .otherwise = "us"},
    {.key = "radon_action_level", .kind = KEY_PART, .otherwise = "", .read = read_action_level},
    {.key = "retest_every",
     KEY_RANGE_AT(KEY_SPAN, AT(retest_every_ms), 0.0, 10 * DURATION_YEAR_MS,
                  "a time between radon tests", "none, or to 10 y"),
     .otherwise = "2 y"},
    {.key = "visit_every",
     KEY_RANGE_AT(KEY_SPAN, AT(visit_every_ms), 0.0, 10 * DURATION_YEAR_MS, "a time between visits",
                  "none, or to 10 y"),
     .otherwise = "none"},
    {.key = "systems", .kind = KEY_PART, .otherwise = "", .read = read_systems},
    {.key = "enrolled_systems",
     KEY_TEXT_AT(AT(enrolled.name), checked_text_file_name,
                 "a folder such as /var/lib/subslabd/systems/"),
     .line_offset = AT(enrolled.line)},
    {.key = "fans",
     KEY_TEXT_AT(AT(fans.folder), checked_text_file_name, "a folder such as fans/"),
     .line_offset = AT(fans.line)},
    {.key = "contractor", .kind = KEY_PART, .read = read_contractor},
    {.key = "contacts", .kind = KEY_PART, .read = read_contacts},
    {.key = "conditions", .kind = KEY_PART, .read = read_conditions},
};

struct settings *settings_parse(const char *file, const char *text, size_t length,
                                struct settings_errors *errors) {
    struct yaml_tree_node *root = yaml_tree_parse(file, text, length, errors);
    if (!root)
        return NULL;
    struct key_reader reader = {.file = file, .errors = errors};
    struct settings *settings = key_allocate(&reader, 1, sizeof *settings);
    if (settings) {
        settings->file = key_copy(&reader, file);
        key_map_read(&reader, NULL, root, KEY_ROWS(settings_rows), settings);
    }
    yaml_tree_free(root);
    if (key_reader_finish(&reader))
        return settings;
    settings_free(settings);
    return NULL;
}

struct settings *settings_share(struct settings *settings) {
    atomic_fetch_add(&settings->sharers, 1);
    return settings;
}

void settings_free(struct settings *settings) {
    if (!settings || atomic_fetch_sub(&settings->sharers, 1) > 0)
        return;
    broker_settings_clear(&settings->broker);
    for (size_t i = 0; i < settings->contact_count; i++)
        contact_settings_clear(&settings->contacts[i]);
    free(settings->contacts);
    array_free_texts(settings->page.hosts, settings->page.host_count);
    array_free_texts(settings->system_files, settings->system_file_count);
    free(settings->file);
    free(settings->store_file);
    free(settings->page.address);
    free(settings->page.access_file);
    free(settings->page.base);
    free(settings->operator_socket);
    free(settings->heartbeat.url);
    free(settings->radon_action_level_text);
    free(settings->systems_folder);
    free(settings->enrolled.name);
    contractor_clear(&settings->contractor);
    fan_models_clear(&settings->fans);
    free(settings->conditions);
    free(settings);
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
