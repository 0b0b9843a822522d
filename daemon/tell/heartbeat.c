#include "tell/heartbeat.h"

#include "host/log.h"

#include <stdio.h>
#include <string.h>

static const char receiver[] = "heartbeat:"; /* no contact: their ids hold no colon */

static void on_done(void *context, const struct delivery_result *result) {
    struct heartbeat *heartbeat = context;
    bool good = result->status >= 200 && result->status < 300;
    if (good && *heartbeat->told)
        log_line(LOG_LEVEL_NOTICE, "heartbeat", "taken again");
    if (!good && strcmp(heartbeat->told, result->text) != 0)
        log_line(LOG_LEVEL_WARNING, "heartbeat", "not taken: %s", result->text);
    snprintf(heartbeat->told, sizeof heartbeat->told, "%s", good ? "" : result->text);
}

void heartbeat_send(struct heartbeat *heartbeat, struct delivery *delivery,
                    const struct settings_heartbeat *settings) {
    const struct delivery_callbacks callbacks = {heartbeat, on_done};
    const struct delivery_request request = {
        .contact = receiver,
        .url = settings->url,
        .allow_private_address = settings->allow_private_address,
        .callbacks = &callbacks,
    };
    delivery_post(delivery, &request); /* one that still hangs says enough */
}
