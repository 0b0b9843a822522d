#include "monitor/history_at_hand.h"

#include <stdlib.h>
#include <string.h>

enum { HOURS_MOST = 60 * 24 };
static const int64_t ahead_ms = 30 * 24 * AVERAGE_HOUR_MS; /* read beyond what is asked for */

struct point_hours {
    int64_t from_ms, to_ms; /* what is known; nothing when they are equal */
    struct average_bucket *hours;
    size_t count, capacity;
};

struct history_at_hand {
    struct history behind;
    size_t first_point, point_count;
    int64_t newest_ms;
    struct point_hours *points;
    size_t capacity;
};

struct history_at_hand *history_at_hand_create(void) {
    return calloc(1, sizeof(struct history_at_hand));
}

void history_at_hand_destroy(struct history_at_hand *hand) {
    if (!hand)
        return;
    for (size_t i = 0; i < hand->capacity; i++)
        free(hand->points[i].hours);
    free(hand->points);
    free(hand);
}

static bool make_room(struct point_hours *known, size_t count) {
    if (count <= known->capacity)
        return true;
    struct average_bucket *grown = realloc(known->hours, count * sizeof *grown);
    if (!grown)
        return false;
    known->hours = grown;
    known->capacity = count;
    return true;
}

/* Knows [from, to) from here on. False: it could not be read. */
static bool read_hours(const struct history_at_hand *hand, size_t point, int64_t from_ms,
                       int64_t to_ms, struct point_hours *known) {
    int64_t end_ms = hand->newest_ms < to_ms + ahead_ms ? hand->newest_ms + 1 : to_ms + ahead_ms;
    end_ms = end_ms > to_ms ? end_ms : to_ms;
    size_t capacity = (size_t)((end_ms - from_ms) / AVERAGE_HOUR_MS) + 2;
    known->from_ms = known->to_ms = 0;
    if (!make_room(known, capacity))
        return false;
    known->count = history_hours(&hand->behind, point, from_ms, end_ms, known->hours, capacity);
    if (known->count == HISTORY_FAILED)
        return false;
    known->from_ms = from_ms;
    known->to_ms = end_ms;
    return true;
}

/* The first hour that ends after an instant. */
static size_t find_hour(const struct point_hours *known, int64_t time_ms) {
    size_t low = 0, high = known->count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (known->hours[middle].end_ms > time_ms)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

static size_t hours_of(void *context, size_t point, int64_t from_ms, int64_t to_ms,
                       struct average_bucket *hours, size_t capacity) {
    const struct history_at_hand *hand = context;
    size_t place = point - hand->first_point, count = 0;
    if (place >= hand->point_count || to_ms - from_ms > HOURS_MOST * AVERAGE_HOUR_MS)
        return history_hours(&hand->behind, point, from_ms, to_ms, hours, capacity);
    struct point_hours *known = &hand->points[place];
    if ((from_ms < known->from_ms || to_ms > known->to_ms) &&
        !read_hours(hand, point, from_ms, to_ms, known))
        return HISTORY_FAILED;
    size_t first = find_hour(known, from_ms);
    while (first + count < known->count && count < capacity &&
           known->hours[first + count].start_ms < to_ms)
        count++;
    if (count > 0)
        memcpy(hours, known->hours + first, count * sizeof *hours);
    return count;
}

static size_t days_of(void *context, size_t point, int64_t from_day, int64_t to_day,
                      struct history_day *days, size_t capacity) {
    const struct history_at_hand *hand = context;
    return history_days(&hand->behind, point, from_day, to_day, days, capacity);
}

static double exponent_of(void *context, size_t system, int64_t time_ms) {
    const struct history_at_hand *hand = context;
    return hand->behind.ground_exponent(hand->behind.context, system, time_ms);
}

/* Room for the points of a system; as many as there is memory for. */
static size_t reserve(struct history_at_hand *hand, size_t count) {
    if (count <= hand->capacity)
        return count;
    struct point_hours *grown = realloc(hand->points, count * sizeof *grown);
    if (!grown)
        return hand->capacity;
    memset(grown + hand->capacity, 0, (count - hand->capacity) * sizeof *grown);
    hand->points = grown;
    hand->capacity = count;
    return count;
}

struct history history_at_hand_of(struct history_at_hand *hand, const struct history *behind,
                                  size_t first_point, size_t point_count, int64_t newest_ms) {
    hand->behind = *behind;
    hand->first_point = first_point;
    hand->newest_ms = newest_ms;
    hand->point_count = reserve(hand, point_count);
    for (size_t i = 0; i < hand->point_count; i++)
        hand->points[i].from_ms = hand->points[i].to_ms = 0;
    return (struct history){hand, hours_of, days_of, exponent_of};
}
