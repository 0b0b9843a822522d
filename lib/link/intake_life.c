/*
 * Making and ending an intake, and what it is told in between.
 */
#include "link/intake_private.h"

#include "measure/array.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KEEPALIVE_MIN_S 5 /* libmosquitto takes no less */

/* ---- life ---- */

static char *copy(const char *text, bool *complete) {
    char *copied = text ? strdup(text) : NULL;
    if (text && !copied)
        *complete = false;
    return copied;
}

static bool copy_settings(struct intake *intake, const struct settings_broker *broker,
                          const char *password) {
    bool complete = true;
    intake->host = copy(broker->host, &complete);
    intake->client_id = copy(broker->client_id, &complete);
    intake->username = copy(broker->username, &complete);
    intake->password = copy(password, &complete);
    intake->filters = calloc(broker->subscribe_count + 1, sizeof(*intake->filters));
    if (!intake->filters)
        return false;
    for (; intake->filter_count < broker->subscribe_count; intake->filter_count++)
        intake->filters[intake->filter_count] =
            copy(broker->subscribe[intake->filter_count], &complete);
    intake->port = broker->port;
    intake->protocol = broker->protocol;
    intake->keepalive_s =
        broker->keepalive_s < KEEPALIVE_MIN_S ? KEEPALIVE_MIN_S : broker->keepalive_s;
    intake->receive_maximum = broker->receive_maximum;
    intake->maximum_packet = broker->maximum_packet;
    return complete;
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
    intake->lookup = -1;
    intake->callbacks = *callbacks;
    snprintf(intake->why, sizeof(intake->why), "not connected yet");
    if (!copy_settings(intake, broker, password)) {
        snprintf(why, why_size, "out of memory");
    } else if (!broker->tls && !broker->ca_file) {
        return intake;
    } else {
        const struct broker_tls_files files = {broker->ca_file, broker->certificate_file,
                                               broker->key_file};
        intake->tls = broker_tls_create(broker->host, &files, why, why_size);
        if (intake->tls)
            return intake;
    }
    intake_destroy(intake);
    return NULL;
}

void intake_leave(struct intake *intake, const char *filter) {
    char **longer = array_room(intake->former, intake->former_count, sizeof(*intake->former));
    char *copied = longer ? strdup(filter) : NULL;
    if (longer)
        intake->former = longer;
    if (copied)
        intake->former[intake->former_count++] = copied;
}

void intake_destroy(struct intake *intake) {
    if (!intake)
        return;
    intake_drop_client(intake);
    broker_tls_destroy(intake->tls);
    for (size_t i = 0; i < intake->filter_count; i++)
        free(intake->filters[i]);
    free(intake->filters);
    for (size_t i = 0; i < intake->former_count; i++)
        free(intake->former[i]);
    free(intake->former);
    free(intake->host);
    free(intake->client_id);
    free(intake->username);
    if (intake->password)
        explicit_bzero(intake->password, strlen(intake->password));
    free(intake->password);
    free(intake);
    mosquitto_lib_cleanup();
}

void intake_stop(struct intake *intake) {
    intake->stopped = true;
    /* Uncommitted readings: leave without a word, the broker keeps them. */
    if (intake->step >= STEP_SUBSCRIBING && intake_may_write(intake)) {
        intake_write_queue(intake);
        if (intake->client && mosquitto_disconnect(intake->client) == MOSQ_ERR_SUCCESS)
            intake_write_queue(intake);
    }
    intake_drop_client(intake);
    intake_enter(intake, STEP_IDLE);
    intake_set_why(intake, "stopped");
}
