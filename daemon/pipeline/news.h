/*
 * news: what a turn has to tell people. First it is listed, then each is explained and announced in
 * a plain loop, for explaining studies weeks of history.
 */
#ifndef DAEMON_PIPELINE_NEWS_H
#define DAEMON_PIPELINE_NEWS_H

#include "pipeline/monitor_memory.h"
#include "tell/announce.h"

struct news_item {
    struct alarm *alarm; /* the book's; it stays until the book is written */
    enum alarm_notice notice;
};

struct news {
    struct news_item *items;
    size_t count;
    bool out_of_memory;
};

/** Lists what is certain by now (monitor_tell): from here on it counts as told. STORE_OUT_OF_MEMORY
    when the list could not grow. Close it also then. */
enum store_status news_collect(struct news *news, struct monitor *monitor, int64_t now_ms);
/** Writes the rows of everybody who hears of it, within the turn's transaction. */
enum store_status news_announce(const struct news *news, struct monitor_memory *memory,
                                struct announce *announce, int64_t now_ms);
void news_close(struct news *news);

#endif
