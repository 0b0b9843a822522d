/*
 * pipeline_private: what pipeline.c (the turn) and pipeline_messages.c (what a message holds)
 * share.
 */
#ifndef DAEMON_PIPELINE_PIPELINE_PRIVATE_H
#define DAEMON_PIPELINE_PIPELINE_PRIVATE_H

#include "pipeline/away.h"
#include "pipeline/pipeline.h"
#include "pipeline/second_looks.h"

/* What each of these becomes with new settings is said in pipeline_take_over. */
struct pipeline {
    const struct fleet *fleet;
    struct store_turn turn;
    struct in_hand *hand; /* or NULL */
    struct monitor *monitor;
    struct monitor_memory memory;
    struct second_looks *looks;
    struct announce announce;
    struct away away;
    struct busy_points busy;
    struct pipeline_counters counters;
    size_t book_kept;        /* alarms in the book after it was last written early */
    int64_t refused_from_ms; /* of the running window */
    int refused_in_window;
    int64_t moved_ms; /* when the clock was last moved; TIMESTAMP_NONE: not since the start */
    bool quiet;       /* the clock is not trusted */
    struct payload_reading readings[READINGS_A_MESSAGE];
};

/** pipeline.c: counts what became of a reading. */
enum pipeline_taken pipeline_count_taken(struct pipeline *pipeline, enum series_append result);
/** pipeline.c: has the book of alarms grown so much that it is to be written early? */
bool pipeline_book_has_grown(const struct pipeline *pipeline);
void pipeline_write_early(struct pipeline *pipeline);

/** pipeline_messages.c: few were refused lately. */
void pipeline_expire_refusals(struct pipeline *pipeline, int64_t now_ms);

#endif
