/*
 * broker_session: what the broker keeps for us, as the store remembers it: that there is a session,
 * and which topic filters it was subscribed with. A filter that the settings no longer hold would
 * be delivered for as long as the session lives, so it is unsubscribed at the next connection.
 */
#ifndef DAEMON_SERVICE_BROKER_SESSION_H
#define DAEMON_SERVICE_BROKER_SESSION_H

#include "link/intake.h"
#include "pipeline/pipeline.h"

/** Has there been a session before? */
bool broker_session_known(struct store *store);
/** Tells the intake which filters of earlier settings to leave. */
void broker_session_leave_former(struct store *store, const struct settings_broker *broker,
                                 struct intake *intake);
/** Every filter is granted: written down with the turn, unless it is already. */
void broker_session_granted(struct pipeline *pipeline, const struct settings_broker *broker);

#endif
