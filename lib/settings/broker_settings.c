#include "settings/broker_settings.h"

#include "measure/array.h"
#include "settings/checked_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct settings_broker, field)

static const struct key_word protocol_words[] = {{"5", 5}, {"3.1.1", 4}, {NULL, 0}};
static const struct key_row tls_rows[] = {
    {.key = "ca_file",
     KEY_TEXT_AT(AT(ca_file), checked_text_file_name, "a file name"),
     .line_offset = AT(lines.ca_file),
     .required = true},
    {.key = "certificate_file",
     KEY_TEXT_AT(AT(certificate_file), checked_text_file_name, "a file name"),
     .line_offset = AT(lines.certificate_file)},
    {.key = "key_file",
     KEY_TEXT_AT(AT(key_file), checked_text_file_name, "a file name"),
     .line_offset = AT(lines.key_file)},
};

static void read_tls(struct key_reader *reader, const struct key_path *path,
                     const struct yaml_tree_node *node, void *target) {
    struct settings_broker *broker = target;
    if (!key_is(reader, path, node, YAML_TREE_MAP, "a map with ca_file"))
        return;
    key_map_read(reader, path, node, KEY_ROWS(tls_rows), target);
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
    struct settings_broker *broker = target;
    key_text_list(reader, path, node ? node : &otherwise, checked_text_topic_filter,
                  "a list of topic filters such as [\"subslab/#\"]", &broker->subscribe,
                  &broker->subscribe_count);
}

static void read_state_topic(struct key_reader *reader, const struct key_path *path,
                             const struct yaml_tree_node *node, void *target) {
    struct settings_broker *broker = target;
    const char *text = key_scalar(reader, path, node, "none, or a topic such as subslab-state");
    const char *problem = text ? checked_text_topic(text) : NULL;
    if (problem)
        key_error(reader, path, node->line, "%.60s %s", text, problem);
    else if (text && strcmp(text, "none") != 0)
        broker->state_topic = key_copy(reader, text);
}

static void add_host(struct key_reader *reader, struct settings_broker *broker, const char *text) {
    struct settings_broker_host *host = &broker->hosts[broker->host_count];
    size_t from = 0, length = checked_text_host_of(text, &from, &host->port);
    host->name = key_copy(reader, text + from);
    if (!host->name)
        return;
    host->name[length] = '\0';
    broker->host_count++;
}

static void read_host_list(struct key_reader *reader, const struct key_path *path,
                           const struct yaml_tree_node *node, struct settings_broker *broker) {
    char **texts = NULL;
    size_t count = 0;
    key_text_list(reader, path, node, checked_text_host_and_port, "a list of hosts", &texts,
                  &count);
    broker->hosts = key_allocate(reader, count, sizeof *broker->hosts);
    for (size_t i = 0; broker->hosts && i < count; i++)
        add_host(reader, broker, texts[i]);
    array_free_texts(texts, count);
}

static void read_host(struct key_reader *reader, const struct key_path *path,
                      const struct yaml_tree_node *node, void *target) {
    struct settings_broker *broker = target;
    if (node && node->kind == YAML_TREE_LIST) {
        read_host_list(reader, path, node, broker);
        return;
    }
    const char *text =
        node ? key_scalar(reader, path, node, "a host name or an IP address, or a list of them")
             : "127.0.0.1";
    const char *problem = text ? checked_text_host(text) : NULL;
    if (problem)
        key_error(reader, path, node ? node->line : 0, "\"%.60s\" %s", text, problem);
    broker->hosts = key_allocate(reader, 1, sizeof *broker->hosts);
    if (!text || problem || !broker->hosts)
        return;
    broker->hosts[0].name = key_copy(reader, text);
    broker->host_count = broker->hosts[0].name != NULL;
}

static const struct key_row broker_rows[] = {
    {.key = "host", .kind = KEY_PART, .otherwise = "", .read = read_host},
    {.key = "port", KEY_RANGE_AT(KEY_INTEGER, AT(port), 1, 65535, "a port", "1 to 65535")},
    {.key = "client_id",
     KEY_TEXT_AT(AT(client_id), checked_text_id, "an id such as subslabd"),
     .otherwise = "subslabd"},
    {.key = "protocol",
     KEY_WORD_AT(AT(protocol), protocol_words, "a version of MQTT", "5 or 3.1.1"),
     .otherwise = "5"},
    {.key = "username", KEY_TEXT_AT(AT(username), checked_text_line, "one line of text")},
    {.key = "password_file",
     KEY_TEXT_AT(AT(password_file), checked_text_file_name, "a file name"),
     .line_offset = AT(lines.password_file)},
    {.key = "tls", .kind = KEY_PART, .read = read_tls},
    {.key = "subscribe", .kind = KEY_PART, .otherwise = "", .read = read_subscribe},
    {.key = "keepalive",
     KEY_RANGE_AT(KEY_SPAN_S, AT(keepalive_s), 5, 64800, "a keep-alive time",
                  "whole seconds from 5 s to 18 h"),
     .otherwise = "30 s"},
    {.key = "receive_maximum",
     KEY_RANGE_AT(KEY_INTEGER, AT(receive_maximum), 1, 65535, "a number of messages in flight",
                  "1 to 65535"),
     .otherwise = "2000"},
    {.key = "maximum_packet",
     .kind = KEY_UINT32,
     .offset = AT(maximum_packet),
     .otherwise = "131072",
     .what = "a number of bytes",
     .allowed = "66000 to 268435455",
     .lowest = 66000, /* a payload of 64 KiB and its topic must fit */
     .highest = 268435455},
    {.key = "state_topic", .kind = KEY_PART, .read = read_state_topic},
};

/* What we say of ourselves is no reading. */
static void check_state_topic(struct key_reader *reader, const struct key_path *path,
                              const struct yaml_tree_node *node,
                              const struct settings_broker *broker) {
    char below[sizeof "/x"] = "/x";
    const struct yaml_tree_entry *entry = yaml_tree_find(node, "state_topic");
    const struct key_path here = {.up = path, .name = "state_topic"};
    for (size_t i = 0; broker->state_topic && i < broker->subscribe_count; i++) {
        const char *filter = broker->subscribe[i];
        size_t size = strlen(broker->state_topic) + sizeof below;
        char *of_system = key_allocate(reader, size, 1);
        if (!of_system)
            return;
        snprintf(of_system, size, "%s%s", broker->state_topic, below);
        if (checked_text_filter_takes(filter, broker->state_topic) ||
            checked_text_filter_takes(filter, of_system))
            key_error(reader, &here, entry->line,
                      "would be read back by broker.subscribe %.60s; allowed: a topic that none of "
                      "them takes, such as subslab-state",
                      filter);
        free(of_system);
    }
}

void broker_settings_read(struct key_reader *reader, const struct key_path *path,
                          const struct yaml_tree_node *node, void *target) {
    struct settings_broker *broker = target;
    key_map_read(reader, path, node, KEY_ROWS(broker_rows), target);
    if (broker->port == 0)
        broker->port = broker->tls ? 8883 : 1883; /* the ports registered for MQTT */
    for (size_t i = 0; i < broker->host_count; i++)
        if (broker->hosts[i].port == 0)
            broker->hosts[i].port = broker->port;
    const struct yaml_tree_entry *password = yaml_tree_find(node, "password_file");
    struct key_path here = {.up = path, .name = "password_file"};
    if (password && !yaml_tree_find(node, "username"))
        key_error(reader, &here, password->line, "needs username; allowed: both or neither");
    check_state_topic(reader, path, node, broker);
}

void broker_settings_clear(struct settings_broker *broker) {
    for (size_t i = 0; i < broker->host_count; i++)
        free(broker->hosts[i].name);
    free(broker->hosts);
    free(broker->client_id);
    free(broker->username);
    free(broker->password_file);
    free(broker->ca_file);
    free(broker->certificate_file);
    free(broker->key_file);
    free(broker->state_topic);
    array_free_texts(broker->subscribe, broker->subscribe_count);
}
