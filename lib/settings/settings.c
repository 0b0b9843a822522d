#include "settings/settings.h"

#include "measure/duration.h"
#include "settings/checked_text.h"
#include "settings/condition_settings.h"
#include "settings/contact_settings.h"
#include "settings/key_table.h"

#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct settings, field)
#define ROWS(rows) (rows), sizeof(rows) / sizeof((rows)[0])

static const struct key_word protocol_words[] = {{"5", 5}, {"3.1.1", 4}, {NULL, 0}};
static const struct key_word unit_words[] = {
    {"us", UNIT_SYSTEM_US}, {"si", UNIT_SYSTEM_SI}, {NULL, 0}};

static const struct key_row tls_rows[] = {
    {.key = "ca_file",
     .kind = KEY_TEXT,
     .offset = AT(broker.ca_file),
     .line_offset = AT(broker.lines.ca_file),
     .required = true,
     .allowed = "a file name",
     .check = checked_text_file_name},
    {.key = "certificate_file",
     .kind = KEY_TEXT,
     .offset = AT(broker.certificate_file),
     .line_offset = AT(broker.lines.certificate_file),
     .allowed = "a file name",
     .check = checked_text_file_name},
    {.key = "key_file",
     .kind = KEY_TEXT,
     .offset = AT(broker.key_file),
     .line_offset = AT(broker.lines.key_file),
     .allowed = "a file name",
     .check = checked_text_file_name},
};

static void read_tls(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, void *target) {
    struct settings_broker *broker = &((struct settings *)target)->broker;
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map with ca_file"))
        return;
    key_map_read(reader, path, node, ROWS(tls_rows), target);
    broker->tls = true;
    if (yaml_tree_find(node, "certificate_file") && !yaml_tree_find(node, "key_file"))
        key_error(reader, path, node->line,
                  "certificate_file needs key_file; allowed: both or neither");
    if (yaml_tree_find(node, "key_file") && !yaml_tree_find(node, "certificate_file"))
        key_error(reader, path, node->line,
                  "key_file needs certificate_file; allowed: both or neither");
}

static void read_subscribe(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *node, void *target) {
    static char all[] = "subslab/#";
    static struct yaml_tree_entry only = {
        .value = {.kind = YAML_TREE_SCALAR, .plain = true, .text = all}};
    static const struct yaml_tree_node otherwise = {
        .kind = YAML_TREE_LIST, .entries = &only, .count = 1};
    struct settings_broker *broker = &((struct settings *)target)->broker;
    key_text_list(reader, path, node ? node : &otherwise, checked_text_topic_filter,
                  "a list of topic filters such as [\"subslab/#\"]", &broker->subscribe,
                  &broker->subscribe_count);
}

static const struct key_row broker_rows[] = {
    {.key = "host",
     .kind = KEY_TEXT,
     .offset = AT(broker.host),
     .otherwise = "127.0.0.1",
     .allowed = "a host name or an IP address",
     .check = checked_text_host},
    {.key = "port",
     .kind = KEY_INTEGER,
     .offset = AT(broker.port),
     .what = "a port",
     .allowed = "1 to 65535",
     .lowest = 1,
     .highest = 65535},
    {.key = "client_id",
     .kind = KEY_TEXT,
     .offset = AT(broker.client_id),
     .otherwise = "subslabd",
     .allowed = "an id such as subslabd",
     .check = checked_text_id},
    {.key = "protocol",
     .kind = KEY_WORD,
     .offset = AT(broker.protocol),
     .otherwise = "5",
     .what = "a version of MQTT",
     .allowed = "5 or 3.1.1",
     .words = protocol_words},
    {.key = "username",
     .kind = KEY_TEXT,
     .offset = AT(broker.username),
     .allowed = "one line of text",
     .check = checked_text_line},
    {.key = "password_file",
     .kind = KEY_TEXT,
     .offset = AT(broker.password_file),
     .line_offset = AT(broker.lines.password_file),
     .allowed = "a file name",
     .check = checked_text_file_name},
    {.key = "tls", .kind = KEY_PART, .read = read_tls},
    {.key = "subscribe", .kind = KEY_PART, .otherwise = "", .read = read_subscribe},
    {.key = "keepalive",
     .kind = KEY_SPAN_S,
     .offset = AT(broker.keepalive_s),
     .otherwise = "30 s",
     .what = "a keep-alive time",
     .allowed = "whole seconds from 5 s to 18 h",
     .lowest = 5,
     .highest = 64800},
    {.key = "receive_maximum",
     .kind = KEY_INTEGER,
     .offset = AT(broker.receive_maximum),
     .otherwise = "2000",
     .what = "a number of messages in flight",
     .allowed = "1 to 65535",
     .lowest = 1,
     .highest = 65535},
    {.key = "maximum_packet",
     .kind = KEY_UINT32,
     .offset = AT(broker.maximum_packet),
     .otherwise = "131072",
     .what = "a number of bytes",
     .allowed = "66000 to 268435455",
     .lowest = 66000, /* a payload of 64 KiB and its topic must fit */
     .highest = 268435455},
};

static void read_broker(struct key_reader *reader, const struct key_path *path,
                        const struct yaml_tree_node *node, void *target) {
    struct settings_broker *broker = &((struct settings *)target)->broker;
    key_map_read(reader, path, node, ROWS(broker_rows), target);
    if (broker->port == 0)
        broker->port = broker->tls ? 8883 : 1883; /* the ports registered for MQTT */
    const struct yaml_tree_entry *password = yaml_tree_find(node, "password_file");
    struct key_path here = {.up = path, .name = "password_file"};
    if (password && !yaml_tree_find(node, "username"))
        key_error(reader, &here, password->line, "needs username; allowed: both or neither");
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
                  &settings->page_hosts, &settings->page_host_count);
}

static const struct key_row page_rows[] = {
    {.key = "address",
     .kind = KEY_TEXT,
     .offset = AT(page_address),
     .otherwise = "127.0.0.1",
     .allowed = "an IP address or localhost",
     .check = checked_text_host},
    {.key = "port",
     .kind = KEY_INTEGER,
     .offset = AT(page_port),
     .otherwise = "8148",
     .what = "a port",
     .allowed = "1 to 65535, or 0 for no page",
     .highest = 65535},
    {.key = "access_file",
     .kind = KEY_TEXT,
     .offset = AT(page_access_file),
     .line_offset = AT(page_access_line),
     .allowed = "a file name",
     .check = checked_text_file_name},
    {.key = "hosts", .kind = KEY_PART, .read = read_page_hosts},
};

static void read_page(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    struct settings *settings = target;
    key_map_read(reader, path, node, ROWS(page_rows), target);
    const struct yaml_tree_entry *address = yaml_tree_find(node, "address");
    struct key_path here = {.up = path, .name = "address"};
    if (address && settings->page_port > 0 && settings->page_address &&
        !settings->page_access_file && !checked_text_host_is_loopback(settings->page_address))
        key_error(reader, &here, address->value.line,
                  "is open to others without accounts; allowed: 127.0.0.1, ::1, or with "
                  "page.access_file");
    const struct yaml_tree_entry *hosts = yaml_tree_find(node, "hosts");
    here.name = "hosts";
    if (settings->page_host_count > 0 && settings->page_port > 0 && !settings->page_access_file)
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

static void free_texts(char **texts, size_t count) {
    for (size_t i = 0; i < count; i++)
        free(texts[i]);
    free(texts);
}

static void clear_broker(struct settings_broker *broker) {
    free(broker->host);
    free(broker->client_id);
    free(broker->username);
    free(broker->password_file);
    free(broker->ca_file);
    free(broker->certificate_file);
    free(broker->key_file);
    free_texts(broker->subscribe, broker->subscribe_count);
}

void settings_free(struct settings *settings) {
    if (!settings)
        return;
    clear_broker(&settings->broker);
    for (size_t i = 0; i < settings->contact_count; i++)
        contact_settings_clear(&settings->contacts[i]);
    free(settings->contacts);
    free_texts(settings->page_hosts, settings->page_host_count);
    free_texts(settings->system_files, settings->system_file_count);
    free(settings->file);
    free(settings->store_file);
    free(settings->page_address);
    free(settings->page_access_file);
    free(settings->operator_socket);
    free(settings->radon_action_level_text);
    free(settings->systems_folder);
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
