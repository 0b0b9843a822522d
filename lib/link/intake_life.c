/*
 * Making and ending an intake, and what it is told in between; and what it says at the broker:
 * texts that the broker keeps, queued here and sent by the one place that writes.
 */
#include "link/intake_private.h"

#include "measure/array.h"

#include <mqtt_protocol.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KEEPALIVE_MIN_S 5   /* libmosquitto takes no less */
#define UNCONFIRMED_MAX 100 /* publications; the library sends 20 of them at a time */

/* ---- life ---- */

const char intake_offline[] = "{\"state\": \"offline\"}";

static char *copy(const char *text, bool *complete) {
    char *copied = text ? strdup(text) : NULL;
    if (text && !copied)
        *complete = false;
    return copied;
}

static bool copy_settings(struct intake *intake, const struct settings_broker *broker,
                          const char *password) {
    bool complete = true;
    intake->session.client_id = copy(broker->client_id, &complete);
    intake->session.username = copy(broker->username, &complete);
    intake->session.password = copy(password, &complete);
    intake->session.state_topic = copy(broker->state_topic, &complete);
    intake->hosts.list = calloc(broker->host_count, sizeof(*intake->hosts.list));
    if (!intake->hosts.list)
        return false;
    for (; intake->hosts.count < broker->host_count; intake->hosts.count++) {
        struct intake_host *host = &intake->hosts.list[intake->hosts.count];
        host->name = copy(broker->hosts[intake->hosts.count].name, &complete);
        host->port = broker->hosts[intake->hosts.count].port;
    }
    for (size_t i = 0; i < broker->subscribe_count; i++)
        complete &=
            array_add_text(&intake->topics.filters, &intake->topics.count, broker->subscribe[i]);
    intake->session.protocol = broker->protocol;
    intake->session.keepalive_s =
        broker->keepalive_s < KEEPALIVE_MIN_S ? KEEPALIVE_MIN_S : broker->keepalive_s;
    intake->session.receive_maximum = broker->receive_maximum;
    intake->session.maximum_packet = broker->maximum_packet;
    return complete;
}

static bool set_up_tls(struct intake *intake, const struct settings_broker *broker, char *why,
                       size_t why_size) {
    const struct broker_tls_files files = {broker->ca_file, broker->certificate_file,
                                           broker->key_file};
    bool good = true;
    for (size_t i = 0; i < intake->hosts.count && good; i++) {
        struct intake_host *host = &intake->hosts.list[i];
        host->tls = broker_tls_create(host->name, &files, why, why_size);
        good = host->tls != NULL;
    }
    return good;
}

struct intake *intake_create(const struct settings *settings, const char *password,
                             const struct intake_callbacks *callbacks, char *why, size_t why_size) {
    const struct settings_broker *broker = &settings->broker;
    struct intake *intake = calloc(1, sizeof(*intake));
    if (!intake) {
        snprintf(why, why_size, "out of memory");
        return NULL;
    }
    mosquitto_lib_init();
    intake->lookup.descriptor = -1;
    intake->callbacks = *callbacks;
    snprintf(intake->why, sizeof(intake->why), "not connected yet");
    snprintf(why, why_size, "out of memory");
    bool encrypted = broker->tls || broker->ca_file;
    if (!copy_settings(intake, broker, password) ||
        (encrypted && !set_up_tls(intake, broker, why, why_size))) {
        intake_destroy(intake);
        return NULL;
    }
    intake_use_host(intake, 0);
    return intake;
}

void intake_leave(struct intake *intake, const char *filter) {
    array_add_text(&intake->topics.former, &intake->topics.former_count, filter);
}

void intake_destroy(struct intake *intake) {
    if (!intake)
        return;
    intake_drop_client(intake);
    for (size_t i = 0; i < intake->hosts.count; i++) {
        broker_tls_destroy(intake->hosts.list[i].tls);
        free(intake->hosts.list[i].name);
    }
    free(intake->hosts.list);
    array_free_texts(intake->topics.filters, intake->topics.count);
    array_free_texts(intake->topics.former, intake->topics.former_count);
    free(intake->session.client_id);
    free(intake->session.username);
    free(intake->session.state_topic);
    if (intake->session.password)
        explicit_bzero(intake->session.password, strlen(intake->session.password));
    free(intake->session.password);
    free(intake);
    mosquitto_lib_cleanup();
}

/* ---- what it says ---- */

void intake_published(struct mosquitto *client, void *object, int packet_id, int code,
                      const mosquitto_property *properties) {
    (void)client;
    (void)packet_id;
    (void)properties;
    struct intake *intake = object;
    intake->publications.unconfirmed -= intake->publications.unconfirmed > 0;
    if (code < MQTT_RC_UNSPECIFIED)
        return;
    char text[320];
    snprintf(text, sizeof(text),
             "the broker refuses our state at %.200s (code %d): its access list must let us write "
             "there",
             intake->session.state_topic ? intake->session.state_topic : "", code);
    if (!intake->publications.refused)
        intake->callbacks.log(intake->callbacks.context, text);
    intake->publications.refused = true;
}

bool intake_publish(struct intake *intake, const char *topic, const char *text) {
    if (intake->step != STEP_RUNNING || !intake->client ||
        intake->publications.unconfirmed >= UNCONFIRMED_MAX)
        return false;
    int error = mosquitto_publish(intake->client, NULL, topic, (int)strlen(text), text, 1, true);
    intake->publications.unconfirmed += error == MOSQ_ERR_SUCCESS;
    return error == MOSQ_ERR_SUCCESS;
}

/* ---- the end ---- */

void intake_stop(struct intake *intake) {
    intake->stopped = true;
    /* Uncommitted readings: leave without a word, the broker keeps them. */
    if (intake->step >= STEP_SUBSCRIBING && intake_may_write(intake)) {
        if (intake->session.state_topic)
            intake_publish(intake, intake->session.state_topic, intake_offline);
        intake_write_queue(intake);
        if (intake->client && mosquitto_disconnect(intake->client) == MOSQ_ERR_SUCCESS)
            intake_write_queue(intake);
    }
    intake_drop_client(intake);
    intake_enter(intake, STEP_IDLE);
    intake_set_why(intake, "stopped");
}
