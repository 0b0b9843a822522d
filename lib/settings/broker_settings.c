#include "settings/broker_settings.h"

#include "settings/checked_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define AT(field) offsetof(struct settings_broker, field)

static const struct key_word protocol_words[] = {{"5", 5}, {"3.1.1", 4}, {NULL, 0}};
static const struct key_row tls_rows[] = {
    {.key = "ca_file", KEY_FILE_AT(AT(ca_file), AT(lines.ca_file)), .required = true},
    {.key = "certificate_file", KEY_FILE_AT(AT(certificate_file), AT(lines.certificate_file))},
    {.key = "key_file", KEY_FILE_AT(AT(key_file), AT(lines.key_file))},
};

static void check_pair(const struct key_at *at, const char *key, const char *other) {
    if (key_child(at, key).node && !key_child(at, other).node)
        key_error(at, "%s needs %s; allowed: both or neither", key, other);
}

static void read_tls(const struct key_at *at, void *target) {
    struct settings_broker *broker = target;
    if (!key_is(at, YAML_TREE_MAP, "a map with ca_file"))
        return;
    key_map_read(at, KEY_ROWS(tls_rows), target);
    broker->tls = true;
    check_pair(at, "certificate_file", "key_file");
    check_pair(at, "key_file", "certificate_file");
}

static void read_subscribe(const struct key_at *at, void *target) {
    static char all[] = "subslab/#";
    static struct yaml_tree_entry only = {
        .value = {.kind = YAML_TREE_SCALAR, .plain = true, .text = all}};
    static const struct yaml_tree_node otherwise = {
        .kind = YAML_TREE_LIST, .entries = &only, .count = 1};
    struct settings_broker *broker = target;
    struct key_at here = *at;
    here.node = at->node ? at->node : &otherwise;
    key_text_list(&here, checked_text_topic_filter,
                  "a list of topic filters such as [\"subslab/#\"]", &broker->subscribe,
                  &broker->subscribe_count);
}

static void read_state_topic(const struct key_at *at, void *target) {
    struct settings_broker *broker = target;
    const char *text = key_scalar(at, "none, or a topic such as subslab-state");
    const char *problem = text ? checked_text_topic(text) : NULL;
    if (problem)
        key_error(at, "%.60s %s", text, problem);
    else if (text && strcmp(text, "none") != 0)
        broker->state_topic = key_copy(at, text);
}

static void add_host(const struct key_at *at, struct settings_broker *broker, const char *text) {
    struct settings_broker_host *host = &broker->hosts[broker->host_count];
    char name[256];
    size_t from = 0, length = checked_text_host_of(text, &from, &host->port);
    snprintf(name, sizeof name, "%.*s", (int)length, text + from);
    host->name = key_copy(at, name);
    broker->host_count += host->name != NULL;
}

static void read_host_list(const struct key_at *at, struct settings_broker *broker) {
    char **texts = NULL;
    size_t count = 0;
    key_text_list(at, checked_text_host_and_port, "a list of hosts", &texts, &count);
    broker->hosts = key_allocate(at, count, sizeof *broker->hosts);
    for (size_t i = 0; broker->hosts && i < count; i++)
        add_host(at, broker, texts[i]);
}

static void read_host(const struct key_at *at, void *target) {
    struct settings_broker *broker = target;
    if (at->node && at->node->kind == YAML_TREE_LIST) {
        read_host_list(at, broker);
        return;
    }
    const char *text =
        at->node ? key_scalar(at, "a host name or an IP address, or a list of them") : "127.0.0.1";
    const char *problem = text ? checked_text_host(text) : NULL;
    if (problem)
        key_error(at, "\"%.60s\" %s", text, problem);
    broker->hosts = key_allocate(at, 1, sizeof *broker->hosts);
    if (!text || problem || !broker->hosts)
        return;
    broker->hosts[0].name = key_copy(at, text);
    broker->host_count = broker->hosts[0].name != NULL;
}

static const struct key_row broker_rows[] = {
    {.key = "host", KEY_PART_AT(0, read_host), .otherwise = ""},
    {.key = "port", KEY_RANGE_AT(KEY_INTEGER, AT(port), 1, 65535, "a port", "1 to 65535")},
    {.key = "client_id",
     KEY_TEXT_AT(AT(client_id), checked_text_id, "an id such as subslabd"),
     .otherwise = "subslabd"},
    {.key = "protocol",
     KEY_WORD_AT(AT(protocol), protocol_words, "a version of MQTT", "5 or 3.1.1"),
     .otherwise = "5"},
    {.key = "username", KEY_TEXT_AT(AT(username), checked_text_line, "one line of text")},
    {.key = "password_file", KEY_FILE_AT(AT(password_file), AT(lines.password_file))},
    {.key = "tls", KEY_PART_AT(0, read_tls)},
    {.key = "subscribe", KEY_PART_AT(0, read_subscribe), .otherwise = ""},
    {.key = "keepalive",
     KEY_RANGE_AT(KEY_SPAN_S, AT(keepalive_s), 5, 64800, "a keep-alive time",
                  "whole seconds from 5 s to 18 h"),
     .otherwise = "30 s"},
    {.key = "receive_maximum",
     KEY_RANGE_AT(KEY_INTEGER, AT(receive_maximum), 1, 65535, "a number of messages in flight",
                  "1 to 65535"),
     .otherwise = "2000"},
    {.key = "maximum_packet", /* a payload of 64 KiB and its topic must fit */
     KEY_RANGE_AT(KEY_UINT32, AT(maximum_packet), 66000, 268435455, "a number of bytes",
                  "66000 to 268435455"),
     .otherwise = "131072"},
    {.key = "state_topic", KEY_PART_AT(0, read_state_topic)},
};

/* What we say of ourselves is no reading. */
static void check_state_topic(const struct key_at *at, const struct settings_broker *broker) {
    const struct key_at here = key_child(at, "state_topic");
    char *of_system = NULL;
    if (broker->state_topic && asprintf(&of_system, "%s/x", broker->state_topic) < 0) {
        key_no_memory(at->reader);
        return;
    }
    for (size_t i = 0; of_system && i < broker->subscribe_count; i++) {
        const char *filter = broker->subscribe[i];
        if (checked_text_filter_takes(filter, broker->state_topic) ||
            checked_text_filter_takes(filter, of_system))
            key_refuse(&here,
                       "would be read back by broker.subscribe %.60s; allowed: a topic that none "
                       "of them takes, such as subslab-state",
                       filter);
    }
    free(of_system);
}

void broker_settings_read(const struct key_at *at, void *target) {
    struct settings_broker *broker = target;
    key_map_read(at, KEY_ROWS(broker_rows), target);
    if (broker->port == 0)
        broker->port = broker->tls ? 8883 : 1883; /* the ports registered for MQTT */
    for (size_t i = 0; i < broker->host_count; i++)
        if (broker->hosts[i].port == 0)
            broker->hosts[i].port = broker->port;
    const struct key_at password = key_child(at, "password_file");
    if (password.node && !key_child(at, "username").node)
        key_refuse(&password, "needs username; allowed: both or neither");
    check_state_topic(at, broker);
}
