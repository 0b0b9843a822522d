/*
 * api: requests of the operator tool and the page to answers. Reading is open to whoever can
 * connect; changing needs the operator socket (or, with the page, a signed-in session).
 *
 * A change is committed before its answer goes out.
 */
#ifndef DAEMON_API_API_H
#define DAEMON_API_API_H

#include "api/context.h"

/** Answers one request. `may_change`: whoever asks may change things (else only read). */
void api_handle(struct api *api, const struct web_request *request, bool may_change,
                struct web_answer *answer);

#endif
