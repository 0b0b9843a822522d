/*
 * What an intake says at the broker: texts that it keeps. Queued here, sent by the one place that
 * writes.
 */
#include "link/intake_private.h"

#include <mqtt_protocol.h>
#include <stdio.h>
#include <string.h>

#define UNCONFIRMED_MAX 100 /* publications; the library sends 20 of them at a time */

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
