/*
 * heartbeat: a sign of life to a watcher outside, a GET at an address of the settings. It is sent
 * only while broker, store and loop work; what the watcher does when it stays away is its own.
 */
#ifndef DAEMON_TELL_HEARTBEAT_H
#define DAEMON_TELL_HEARTBEAT_H

#include "link/delivery.h"
#include "settings/settings.h"

/** {0}: none was sent yet. */
struct heartbeat {
    char told[200]; /* the failure that was logged last; "" after a success */
};

/** Sends one. Its answer is logged when it fails, once for each reason. *heartbeat must live until
    the delivery ends. */
void heartbeat_send(struct heartbeat *heartbeat, struct delivery *delivery,
                    const struct settings_heartbeat *settings);

#endif
