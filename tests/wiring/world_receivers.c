#include "world_receivers.h"

#include "link/delivery.h"
#include "world.h"
#include "world_broker.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FLIGHTS = 16 };

struct flight {
    char contact[16];
    int64_t row, done_ms, retry_after_s;
    int status;
};

struct delivery {
    struct delivery_callbacks callbacks;
    struct flight flights[FLIGHTS];
    size_t count;
    struct delivery *next; /* two live while settings are read again */
};

static struct {
    struct world_letter *letters;
    size_t count, room;
    struct delivery *open;
} post;

static const char *const contacts[WORLD_CONTACTS] = {"office", "workshop", "owner"};

/* ---- the receivers' side ---- */

void world_receivers_begin(void) {
    world_receivers_end();
}

void world_receivers_end(void) {
    for (size_t i = 0; i < post.count; i++)
        free(post.letters[i].body);
    free(post.letters);
    memset(&post, 0, sizeof post);
}

size_t world_letter_count(void) {
    return post.count;
}

const struct world_letter *world_letter_at(size_t i) {
    return &post.letters[i];
}

static struct world_letter *letter_of(const char *id, const char *contact, const char *body,
                                      size_t length) {
    for (size_t i = post.count; i > 0; i--) {
        struct world_letter *letter = &post.letters[i - 1];
        if (strcmp(letter->id, id) != 0)
            continue;
        letter->changed |=
            strlen(letter->body) != length || memcmp(letter->body, body, length) != 0;
        return letter;
    }
    if (post.count == post.room) {
        post.room = post.room ? 2 * post.room : 64;
        post.letters = realloc(post.letters, post.room * sizeof *post.letters);
    }
    struct world_letter *letter = &post.letters[post.count++];
    *letter = (struct world_letter){.body = strndup(body, length), .tried_ms = world.now_ms};
    snprintf(letter->id, sizeof letter->id, "%s", id);
    snprintf(letter->contact, sizeof letter->contact, "%s", contact);
    return letter;
}

static const struct world_fault *trouble_of(const char *contact) {
    const struct world_fault *found = NULL;
    for (size_t i = 0; i < world.script->fault_count; i++) {
        const struct world_fault *fault = &world.script->faults[i];
        if (fault->kind == WORLD_RECEIVER_FAILS && world.now_ms >= fault->from_ms &&
            world.now_ms < fault->to_ms && strcmp(contacts[fault->n], contact) == 0)
            found = fault;
    }
    return found;
}

static int answer_of(const char *contact, int64_t *wait_ms) {
    const struct world_fault *fault = trouble_of(contact);
    *wait_ms = 20 + (int64_t)(world_chance() * 400);
    if (!fault)
        return 204;
    if (fault->answer == 0 && world_chance() < 0.5)
        *wait_ms = 15000; /* it hangs */
    return fault->answer;
}

/* ---- the daemon's side ---- */

struct delivery *delivery_create(const struct delivery_callbacks *callbacks) {
    struct delivery *delivery = calloc(1, sizeof *delivery);
    if (!delivery)
        return NULL;
    delivery->callbacks = *callbacks;
    delivery->next = post.open;
    post.open = delivery;
    return delivery;
}

void delivery_destroy(struct delivery *delivery) {
    for (struct delivery **at = &post.open; *at; at = &(*at)->next) {
        if (*at != delivery)
            continue;
        *at = delivery->next;
        break;
    }
    free(delivery);
}

void world_receivers_dropped(void) {
    post.open = NULL; /* abandoned memory */
}

int64_t world_receivers_next_ms(void) {
    int64_t next_ms = INT64_MAX;
    for (const struct delivery *delivery = post.open; delivery; delivery = delivery->next) {
        for (size_t i = 0; i < delivery->count; i++)
            next_ms =
                delivery->flights[i].done_ms < next_ms ? delivery->flights[i].done_ms : next_ms;
    }
    return next_ms;
}

bool delivery_busy(const struct delivery *delivery, const char *contact) {
    for (size_t i = 0; i < delivery->count; i++) {
        if (strcmp(delivery->flights[i].contact, contact) == 0)
            return true;
    }
    return false;
}

size_t delivery_under_way(const struct delivery *delivery) {
    return delivery->count;
}

static const char *header_of(const struct delivery_request *request, const char *name) {
    for (size_t i = 0; i < request->header_count; i++) {
        if (strcmp(request->headers[i].name, name) == 0)
            return request->headers[i].value;
    }
    return "";
}

bool delivery_post(struct delivery *delivery, const struct delivery_request *request) {
    char id[48];
    int64_t wait_ms;
    if (delivery->count == FLIGHTS || delivery_busy(delivery, request->contact))
        return false;
    world_effect("post");
    snprintf(id, sizeof id, "%s", header_of(request, "webhook-id"));
    if (world.plant == WORLD_PLANT_NEW_ID && world_chance() < 0.2)
        snprintf(id, sizeof id, "other-%zu", post.count);
    int status = answer_of(request->contact, &wait_ms);
    /* No answer: it may have come all the same. */
    bool arrives = status != 0 || world_chance() < 0.5;
    struct world_letter *letter =
        letter_of(id, request->contact, request->body, request->body_length);
    letter->arrivals += arrives;
    letter->accepted |= status == 204;
    letter->refused |= status >= 400 && status < 429;
    world_trace("post %s to %s: %d%s", id, request->contact, status,
                arrives ? "" : ", never arrives");
    struct flight *flight = &delivery->flights[delivery->count++];
    *flight = (struct flight){.row = request->row,
                              .done_ms = world.now_ms + wait_ms,
                              .retry_after_s = status == 429 ? 120 : -1,
                              .status = status};
    if (world.plant == WORLD_PLANT_EARLY_DONE && status != 204)
        flight->status = 204;
    snprintf(flight->contact, sizeof flight->contact, "%s", request->contact);
    world_effect("posted");
    return true;
}

void delivery_wait(struct delivery *delivery, struct delivery_descriptor *descriptors, size_t count,
                   int timeout_ms) {
    (void)delivery;
    bool listening = false;
    for (size_t i = 0; i < count; i++)
        listening |= descriptors[i].descriptor == WORLD_BROKER_DESCRIPTOR;
    world_broker_listening(listening);
    world_wait(timeout_ms);
}

void delivery_turn(struct delivery *delivery, int64_t wall_ms) {
    (void)wall_ms;
    for (size_t i = 0; i < delivery->count;) {
        const struct flight flight = delivery->flights[i];
        char text[20];
        if (flight.done_ms > world.now_ms) {
            i++;
            continue;
        }
        delivery->flights[i] = delivery->flights[--delivery->count];
        snprintf(text, sizeof text, "%d", flight.status);
        const struct delivery_result result = {.row = flight.row,
                                               .contact = flight.contact,
                                               .status = flight.status,
                                               .retry_after_s = flight.retry_after_s,
                                               .text = flight.status ? text : "no answer"};
        delivery->callbacks.done(delivery->callbacks.context, &result);
    }
}
