/*
 * delivery: requests to webhooks (libcurl multi), and is the wait of the loop: its poll takes
 * the descriptors of all other parts. One POST at a time per contact; a hung one delays no other.
 *
 * A webhook is the one place where settings send data out of the machine, so it is kept narrow:
 * https (http only on loopback and allowed private networks), no redirect, no proxy, no cookie, no
 * content decoding, TLS 1.2 or newer and verified, the address judged after it was resolved
 * (address_rule.h), 10 s to connect, 15 s in all, at most 4 KiB of the answer read. Once the head
 * of an answer is complete its status decides, whatever becomes of the body.
 */
#ifndef LINK_DELIVERY_H
#define LINK_DELIVERY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct delivery;

struct delivery_header {
    const char *name, *value;
};

struct delivery_result;

struct delivery_callbacks {
    void *context;
    void (*done)(void *context, const struct delivery_result *result);
};

struct delivery_request {
    int64_t row;         /* handed back with the result */
    const char *contact; /* copied */
    const char *url, *content_type;
    const char *body; /* NULL: a GET without content type */
    size_t body_length;
    const struct delivery_header *headers; /* copied; signature headers included */
    size_t header_count;
    const char *ca_file;                        /* or NULL */
    bool allow_private_address;                 /* private networks; loopback too */
    const struct delivery_callbacks *callbacks; /* copied; NULL: those of delivery_create */
};

struct delivery_result {
    int64_t row;
    const char *contact;
    int status;            /* HTTP status, 0: no answer */
    int64_t retry_after_s; /* -1: none given; from seconds or an HTTP date */
    const char *text;      /* for people: "204", "connection refused", "redirect to other.example
                              refused"; never a path, a query or a secret. Valid during the call. */
};

struct delivery *delivery_create(const struct delivery_callbacks *callbacks);
/** Gives up what is under way (it will be sent again after a start). NULL does nothing. */
void delivery_destroy(struct delivery *delivery);

/**
 * Starts one request; false when out of memory, or while one to the same contact is under way. What
 * is wrong with the request itself (address, header) is reported as a result in the next turn. May
 * be called from within `done`.
 */
bool delivery_post(struct delivery *delivery, const struct delivery_request *request);
/** Is a POST to this contact under way? */
bool delivery_busy(const struct delivery *delivery, const char *contact);
size_t delivery_under_way(const struct delivery *delivery);

struct delivery_descriptor {
    int descriptor;
    bool want_read, want_write; /* in */
    bool readable, writable;    /* out */
};
/** Waits for any descriptor, any answer, or the time limit. */
void delivery_wait(struct delivery *delivery, struct delivery_descriptor *descriptors, size_t count,
                   int timeout_ms);
/** Moves every POST forward and reports those that ended. `wall_ms` is for Retry-After dates. */
void delivery_turn(struct delivery *delivery, int64_t wall_ms);

#endif
