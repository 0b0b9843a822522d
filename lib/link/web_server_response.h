/*
 * web_response: answers as libmicrohttpd sends them, with the security headers. Under web_server.
 */
#ifndef LINK_WEB_SERVER_RESPONSE_H
#define LINK_WEB_SERVER_RESPONSE_H

#include "link/web_server.h"

struct MHD_Response; /* libmicrohttpd */

/**
 * Takes over what the answer holds. What can't be made is answered with 500; NULL when not even
 * that. `has_body`: false for HEAD. The caller destroys it once it is queued.
 */
struct MHD_Response *web_response_make(struct web_answer *answer, bool has_body, unsigned *status);

/** A status that refuses a request, with its sentence and headers. */
struct web_answer web_refusal(int status);

#endif
