/*
 * web_visitors: the open connections of a web server, how long each has taken and what is held for
 * it. Whoever takes too long is cut off, and where places or memory are short, whoever has taken
 * longest: somebody who is quick always gets in, however many are slow, and wherever they come
 * from. Under web_server; knows sockets, but neither HTTP nor a clock.
 */
#ifndef LINK_WEB_VISITORS_H
#define LINK_WEB_VISITORS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct web_visitor {
    struct web_visitor *next, *previous;
    int descriptor;
    int64_t since_ms; /* monotonic: the connection or the answer began, or the last answer is out */
    size_t held_bytes; /* of its request or its answer */
    bool answering;
    bool cut_off; /* it is gone once the library has noticed */
};

/** Begins as {0}. */
struct web_visitors {
    struct web_visitor *first;
    size_t count;
};

/** NULL when out of memory. */
struct web_visitor *web_visitors_add(struct web_visitors *visitors, int descriptor, int64_t now_ms);
void web_visitors_remove(struct web_visitors *visitors, struct web_visitor *visitor);

/**
 * Cuts off whose request is not there in whole after `request_ms`, however busily it drips, whose
 * answer is not taken after `answer_ms`, and who left in the middle of a request.
 */
void web_visitors_cut_slow(struct web_visitors *visitors, int64_t now_ms, int64_t request_ms,
                           int64_t answer_ms);
/**
 * Cuts off the slowest until at most `stay` are left, and until no more than `held_bytes_max` are
 * held for all together (what is held for a single one may be more).
 */
void web_visitors_cut_down(struct web_visitors *visitors, size_t stay, size_t held_bytes_max);

#endif
