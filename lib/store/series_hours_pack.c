/*
 * series_hours_pack: the hours of a closed day in few bytes. Those of a day that lies in one pack
 * are what the pack says, with the interval its point has when they are packed. A day in parts, and
 * one of which readings have gone for age, has its hours written down.
 */
#include "store/series_hours.h"

#include "measure/timestamp.h"
#include "store/series_packed.h"
#include "store/series_rollup.h"

#include <math.h>

/* ---- what is kept of a day ---- */

static enum store_status put_kept(struct store *store, const struct day_pack_label *label,
                                  const unsigned char *bytes, size_t size) {
    return store_do(store, "INSERT OR REPLACE INTO day_hours VALUES (?1, ?2, ?3)",
                    VALUES(INT(label->point), INT(label->day), BYTES(bytes, size)));
}

static enum store_status delete_kept(struct store *store, const struct day_pack_label *label) {
    return store_do(store, "DELETE FROM day_hours WHERE point = ?1 AND day = ?2",
                    VALUES(INT(label->point), INT(label->day)));
}

/* Do hours that are written down come back to the last bit? Their rows are about to go. */
static bool comes_back(const struct day_pack_label *label, const unsigned char *bytes, size_t size,
                       const struct day_hours_table *seen) {
    struct day_hours kept;
    bool same = day_hours_decode(label, bytes, size, &kept) == DAY_PACK_OK;
    for (unsigned i = 0; same && i < DAY_HOURS_COUNT; i++)
        same = day_hours_equal(&kept.table, seen, i);
    return same;
}

/* Keeps the plan in place of the day's rows. */
static enum store_status replace_rows(struct store *store, const struct day_pack_label *label,
                                      const struct day_hours *plan, int *rows) {
    unsigned char bytes[DAY_HOURS_BYTES_MAX];
    size_t size;
    int64_t start_ms = label->day * DAY_PACK_DAY_MS;
    if (day_hours_encode(label, plan, bytes, &size) != DAY_PACK_OK)
        return store_failure(store, SQLITE_NOMEM);
    if (!plan->is_computed && !comes_back(label, bytes, size, &plan->table))
        return STORE_OK; /* the rows stay */
    enum store_status status = plan->is_computed || plan->written
                                   ? put_kept(store, label, bytes, size)
                                   : delete_kept(store, label);
    if (status != STORE_OK)
        return status;
    return series_hours_delete_rows(store, label->point, start_ms, start_ms + DAY_PACK_DAY_MS - 1,
                                    rows);
}

/* ---- packing ---- */

static int64_t span_of(int64_t time_ms, int64_t previous_ms, int64_t interval_ms) {
    bool is_short = previous_ms != TIMESTAMP_NONE && previous_ms < time_ms &&
                    time_ms - previous_ms < interval_ms;
    return is_short ? time_ms - previous_ms : interval_ms;
}

struct day_hours series_hours_plan(const struct day_pack_label *label, int64_t interval_ms,
                                   int64_t before_ms, int64_t first_ms, int64_t last_ms,
                                   const struct reading *after) {
    const int64_t end_ms = (label->day + 1) * DAY_PACK_DAY_MS;
    struct day_hours plan = {.is_computed = true, .interval_ms = interval_ms};
    plan.first_span_ms = span_of(first_ms, before_ms, interval_ms);
    if (!after)
        return plan;
    int64_t from_ms = after->time_ms - span_of(after->time_ms, last_ms, interval_ms);
    if (from_ms < end_ms && isfinite(after->value)) {
        plan.reach_ms = end_ms - from_ms;
        plan.after_value = after->value;
    }
    return plan;
}

enum store_status series_hours_put_plan(struct store *store, const struct day_pack_label *label,
                                        const struct day_hours *plan) {
    unsigned char bytes[DAY_HOURS_BYTES_MAX];
    size_t size;
    if (day_hours_encode(label, plan, bytes, &size) != DAY_PACK_OK)
        return store_failure(store, SQLITE_NOMEM);
    return put_kept(store, label, bytes, size);
}

/* The hours as the pack says, with what reaches into the day from outside. */
static enum store_status plan_computed(struct store *store, const struct day_pack_label *label,
                                       const struct series_unpacked *pack,
                                       const struct series_point *info, struct day_hours *plan) {
    const int64_t start_ms = label->day * DAY_PACK_DAY_MS, end_ms = start_ms + DAY_PACK_DAY_MS;
    struct reading before = {info->expired_ms, 0}, after = {0, 0};
    enum store_status status = series_before(store, label->point, start_ms, &before);
    if (status == STORE_OK || status == STORE_NOT_FOUND)
        status = series_after(store, label->point, end_ms, &after);
    if (status != STORE_OK && status != STORE_NOT_FOUND)
        return status;
    *plan = series_hours_plan(label, info->interval_ms, before.time_ms, pack->readings[0].time_ms,
                              pack->readings[pack->count - 1].time_ms,
                              status == STORE_OK ? &after : NULL);
    return STORE_OK;
}

/* What is kept of a day; STORE_NOT_FOUND, STORE_DAMAGED. */
static enum store_status find_kept(struct store *store, const struct day_pack_label *label,
                                   struct day_hours *kept) {
    sqlite3_stmt *days;
    enum store_status status =
        series_hours_find_days(store, label->point, label->day, label->day, &days);
    THEN(status, store_row(store, days));
    if (status != STORE_OK)
        return status;
    status = series_hours_read_kept(store, label, days, kept);
    sqlite3_reset(days);
    return status;
}

/* The one pack that holds the day; STORE_NOT_FOUND: none, or it lies in parts. */
static enum store_status unpack_day(struct store *store, const struct day_pack_label *label,
                                    const struct series_unpacked **pack) {
    sqlite3_stmt *found;
    int64_t start_ms = label->day * DAY_PACK_DAY_MS, end_ms;
    *pack = NULL;
    enum store_status status = series_pack_part_end(store, label->point, start_ms, &end_ms);
    THEN(status, end_ms < series_day_end(start_ms)
                     ? STORE_NOT_FOUND
                     : series_pack_at(store, label->point, start_ms, &found));
    if (status != STORE_OK)
        return status;
    status = series_unpack(store, UNPACKED_HOURS, label, found, 0, pack);
    sqlite3_reset(found);
    return status;
}

bool series_hours_can_compute(const struct series_point *info, int64_t day) {
    bool some_went = info->expired_ms != TIMESTAMP_NONE && day_pack_day(info->expired_ms) >= day;
    return !some_went && info->interval_ms > 0 && info->interval_ms <= DAY_HOURS_INTERVAL_MAX;
}

enum store_status series_hours_pack(struct store *store, const struct day_pack_label *label,
                                    const struct day_hours_table *seen, bool is_whole, int *rows) {
    const struct series_unpacked *pack = NULL;
    struct day_hours plan = {.written = seen->present, .table = *seen};
    struct series_point info;
    *rows = 0;
    enum store_status status = series_point_info(store, label->point, &info);
    THEN(status, unpack_day(store, label, &pack));
    if (status == STORE_OK && series_hours_can_compute(&info, label->day)) {
        if (!is_whole)
            return STORE_OK;
        status = plan_computed(store, label, pack, &info, &plan);
    } else if (status == STORE_NOT_FOUND || status == STORE_DAMAGED) {
        status = store->broken;
    }
    return status == STORE_OK ? replace_rows(store, label, &plan, rows) : status;
}

/* ---- when readings go ---- */

/* The pack is damaged: what was to come out of it is lost. */
static enum store_status forget_computed(struct store *store, const struct day_pack_label *label) {
    struct day_hours kept;
    enum store_status status = find_kept(store, label, &kept);
    if (status == STORE_NOT_FOUND)
        return STORE_OK;
    if (status == STORE_DAMAGED)
        return store->broken; /* verify tells of it */
    return status == STORE_OK && kept.is_computed ? delete_kept(store, label) : status;
}

enum store_status series_hours_keep(struct store *store, const struct day_pack_label *label) {
    struct day_hours plan = {.is_computed = false};
    int rows;
    enum store_status status = series_hours_of_day(store, label, &plan.table);
    if (status == STORE_DAMAGED && store->broken == STORE_OK)
        return forget_computed(store, label);
    plan.written = plan.table.present;
    return status == STORE_OK ? replace_rows(store, label, &plan, &rows) : status;
}
