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
#define ROWS(rows) (rows), sizeof(rows) / sizeof((rows)[0])

static const struct key_word unit_words[] = {
    {"us", UNIT_SYSTEM_US}, {"si", UNIT_SYSTEM_SI}, {NULL, 0}};

static const struct key_row heartbeat_rows[] = {
    {.key = "url",
     .kind = KEY_TEXT,
     .offset = AT(heartbeat.url),
     .required = true,
     .secret = true, /* the path names us to the watcher */
     .allowed = "https://HOST/PATH",
     .check = checked_text_url},
    {.key = "every",
     .kind = KEY_SPAN,
     .offset = AT(heartbeat.every_ms),
     .otherwise = "5 min",
     .what = "a time between heartbeats",
     .allowed = "10 s to 1 d",
     .lowest = 10.0 * (double)DURATION_SECOND_MS,
     .highest = (double)DURATION_DAY_MS},
    {.key = "allow_private",
     .kind = KEY_SWITCH,
     .offset = AT(heartbeat.allow_private_address),
     .otherwise = "no",
     .allowed = "yes or no"},
};

static void read_heartbeat(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *node, void *target) {
    struct settings_heartbeat *heartbeat = &((struct settings *)target)->heartbeat;
    key_map_read(reader, path, node, ROWS(heartbeat_rows), target);
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
     .kind = KEY_TEXT,
     .offset = AT(store_file),
     .otherwise = "/var/lib/subslabd/subslab.db",
     .allowed = "a file name",
     .check = checked_text_file_name},
    {.key = "keep_readings",
     .kind = KEY_SPAN,
     .offset = AT(keep_readings_ms),
     .otherwise = "10 y",
     .what = "a time to keep readings",
     .allowed = "1 d to 100 y",
     .lowest = (double)DURATION_DAY_MS,
     .highest = 100.0 * (double)DURATION_YEAR_MS},
};

static void read_store(struct key_reader *reader, const struct key_path *path,
                       const struct yaml_tree_node *node, void *target) {
    key_map_read(reader, path, node, ROWS(store_rows), target);
}

static void read_page_hosts(struct key_reader *reader, const struct key_path *path,
                            const struct yaml_tree_node *node, void *target) {
    struct settings *settings = target;
    key_text_list(reader, path, node, checked_text_host, "a list of host names",
                  &settings->page.hosts, &settings->page.host_count);
}

static const struct key_row page_rows[] = {
    {.key = "address",
     .kind = KEY_TEXT,
     .offset = AT(page.address),
     .otherwise = "127.0.0.1",
     .allowed = "an IP address or localhost",
     .check = checked_text_host},
    {.key = "port",
     .kind = KEY_INTEGER,
     .offset = AT(page.port),
     .otherwise = "8148",
     .what = "a port",
     .allowed = "1 to 65535, or 0 for no page",
     .highest = 65535},
    {.key = "access_file",
     .kind = KEY_TEXT,
     .offset = AT(page.access_file),
     .line_offset = AT(page.access_line),
     .allowed = "a file name",
     .check = checked_text_file_name},
    {.key = "hosts", .kind = KEY_PART, .read = read_page_hosts},
    {.key = "base",
     .kind = KEY_TEXT,
     .offset = AT(page.base),
     .allowed = "a path such as /radon",
     .check = checked_text_base},
};

static void read_page(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    struct settings *settings = target;
    key_map_read(reader, path, node, ROWS(page_rows), target);
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
     .kind = KEY_TEXT,
     .offset = AT(operator_socket),
     .otherwise = "/run/subslabd/operator.sock",
     .allowed = "a file name",
     .check = checked_text_socket_name},
    {.key = "heartbeat", .kind = KEY_PART, .read = read_heartbeat},
    {.key = "units",
     .kind = KEY_WORD,
     .offset = AT(units),
     .otherwise = "us",
     .what = "a system of units",
     .allowed = "us or si",
     .words = unit_words},
    {.key = "radon_action_level", .kind = KEY_PART, .otherwise = "", .read = read_action_level},
    {.key = "retest_every",
     .kind = KEY_SPAN,
     .offset = AT(retest_every_ms),
     .otherwise = "2 y",
     .what = "a time between radon tests",
     .allowed = "none, or to 10 y",
     .highest = 10.0 * (double)DURATION_YEAR_MS},
    {.key = "visit_every",
     .kind = KEY_SPAN,
     .offset = AT(visit_every_ms),
     .otherwise = "none",
     .what = "a time between visits",
     .allowed = "none, or to 10 y",
     .highest = 10.0 * (double)DURATION_YEAR_MS},
    {.key = "systems", .kind = KEY_PART, .otherwise = "", .read = read_systems},
    {.key = "enrolled_systems",
     .kind = KEY_TEXT,
     .offset = AT(enrolled.name),
     .line_offset = AT(enrolled.line),
     .allowed = "a folder such as /var/lib/subslabd/systems/",
     .check = checked_text_file_name},
    {.key = "fans",
     .kind = KEY_TEXT,
     .offset = AT(fans.folder),
     .line_offset = AT(fans.line),
     .allowed = "a folder such as fans/",
     .check = checked_text_file_name},
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
        key_map_read(&reader, NULL, root, ROWS(settings_rows), settings);
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
