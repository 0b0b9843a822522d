/*
 * web_checks: what a request must be before anybody is asked to answer it. Under web_server.
 */
#ifndef LINK_WEB_CHECKS_H
#define LINK_WEB_CHECKS_H

#include <stddef.h>

struct MHD_Connection; /* libmicrohttpd */

/** Host names that are ours, beside those of loopback. Begins as {0}. */
struct web_hosts {
    char **names;
    size_t count;
};
/** Copies the names in place of those before. */
void web_hosts_set(struct web_hosts *hosts, char *const *names, size_t count);
void web_hosts_clear(struct web_hosts *hosts);

/** 0, or the status that refuses this request target. */
int web_check_target(const char *target);
/**
 * 0, or the status that refuses a request by its head: doubtful framing, a foreign host (not looked
 * at when `hosts` is NULL), a method or a length that is not taken.
 */
int web_check_request(struct MHD_Connection *connection, const char *method,
                      const struct web_hosts *hosts, size_t body_bytes_max);

#endif
