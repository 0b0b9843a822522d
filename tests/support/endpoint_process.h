/*
 * endpoint_process: scripted_endpoint.py as a child of a test.
 */
#ifndef ENDPOINT_PROCESS_H
#define ENDPOINT_PROCESS_H

#include <jansson.h>
#include <sys/types.h>

struct endpoint_process {
    pid_t pid;
    int input, port;
    char log[64]; /* a line of JSON a request */
};

struct endpoint_options {
    const char *program;           /* path of scripted_endpoint.py */
    const char *script;            /* JSON, see there */
    const char *certificate, *key; /* or NULL: plain HTTP */
    const char *tls_maximum;       /* "TLSv1_1", or NULL */
};

/** Starts it and waits until it listens. Fails the test when it does not. */
void endpoint_process_start(struct endpoint_process *endpoint,
                            const struct endpoint_options *options);
/** Ends it and removes its log. */
void endpoint_process_stop(struct endpoint_process *endpoint);

/** The logged lines of one path, an array; the caller releases it. */
json_t *endpoint_process_logged(const struct endpoint_process *endpoint, const char *path);

#endif
