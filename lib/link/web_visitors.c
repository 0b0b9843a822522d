#include "link/web_visitors.h"

#include <stdlib.h>
#include <sys/socket.h>

struct web_visitor *web_visitors_add(struct web_visitors *visitors, int descriptor,
                                     int64_t now_ms) {
    struct web_visitor *visitor = calloc(1, sizeof *visitor);
    if (!visitor)
        return NULL;
    visitor->descriptor = descriptor;
    visitor->since_ms = now_ms;
    visitor->next = visitors->first;
    if (visitor->next)
        visitor->next->previous = visitor;
    visitors->first = visitor;
    visitors->count++;
    return visitor;
}

void web_visitors_remove(struct web_visitors *visitors, struct web_visitor *visitor) {
    if (visitor->previous)
        visitor->previous->next = visitor->next;
    else
        visitors->first = visitor->next;
    if (visitor->next)
        visitor->next->previous = visitor->previous;
    visitors->count--;
    free(visitor);
}

/* The library sees the end of the connection in its next turn. */
static void cut_off(struct web_visitor *visitor) {
    shutdown(visitor->descriptor, SHUT_RDWR);
    visitor->cut_off = true;
}

/** Has the client closed its side, with everything that it sent already read? */
static bool left(const struct web_visitor *visitor) {
    char byte;
    return recv(visitor->descriptor, &byte, 1, MSG_PEEK | MSG_DONTWAIT) == 0;
}

/* Half a request whose sender has left: the library (0.9.75, edge-triggered) does not notice an end
   that arrives together with the last bytes. */
void web_visitors_cut_slow(struct web_visitors *visitors, int64_t now_ms, int64_t request_ms,
                           int64_t answer_ms) {
    for (struct web_visitor *visitor = visitors->first; visitor; visitor = visitor->next) {
        int64_t limit_ms = visitor->answering ? answer_ms : request_ms;
        if (now_ms - visitor->since_ms >= limit_ms || (!visitor->answering && left(visitor)))
            cut_off(visitor);
    }
}

struct census {
    size_t staying, holding, held_bytes;
    struct web_visitor *slowest, *slowest_holding;
};

static void note_slowest(struct web_visitor **slowest, struct web_visitor *visitor) {
    if (!*slowest ||
        visitor->since_ms <= (*slowest)->since_ms) /* the list begins with the newest */
        *slowest = visitor;
}

static struct census take_census(const struct web_visitors *visitors) {
    struct census census = {0};
    for (struct web_visitor *visitor = visitors->first; visitor; visitor = visitor->next) {
        if (visitor->cut_off)
            continue;
        census.staying++;
        note_slowest(&census.slowest, visitor);
        if (!visitor->held_bytes)
            continue;
        census.holding++;
        census.held_bytes += visitor->held_bytes;
        note_slowest(&census.slowest_holding, visitor);
    }
    return census;
}

void web_visitors_cut_down(struct web_visitors *visitors, size_t stay, size_t held_bytes_max) {
    for (;;) {
        const struct census census = take_census(visitors);
        if (census.staying > stay)
            cut_off(census.slowest);
        else if (census.holding > 1 && census.held_bytes > held_bytes_max)
            cut_off(census.slowest_holding);
        else
            return;
    }
}
