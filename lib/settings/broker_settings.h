/*
 * broker_settings: the part `broker` of the settings. Pure.
 */
#ifndef SETTINGS_BROKER_SETTINGS_H
#define SETTINGS_BROKER_SETTINGS_H

#include "settings/key_table.h"

struct settings_broker_host {
    char *name;
    int port;
};

struct settings_broker {
    struct settings_broker_host *hosts; /* at least one; of one cluster, tried in turn */
    size_t host_count;
    int port; /* of those that name none */
    char *client_id;
    int protocol; /* 5, or 4 for 3.1.1 */
    char *username, *password_file;
    char *ca_file, *certificate_file, *key_file; /* ca_file set: TLS */
    bool tls;
    char **subscribe;
    size_t subscribe_count;
    int keepalive_s;         /* `keepalive`, default 30 s */
    int receive_maximum;     /* `receive_maximum`, default 2000, 1..65535 */
    uint32_t maximum_packet; /* `maximum_packet`, bytes, default 131072 */
    char *state_topic;       /* where our own state is published; NULL: nowhere */
    struct {
        int password_file, ca_file, certificate_file, key_file;
    } lines; /* of these keys, for errors */
};

/** A read function of key_table.h; `target` is the struct settings_broker. */
void broker_settings_read(const struct key_at *at, void *target);

#endif
