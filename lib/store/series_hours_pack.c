/*
 * series_hours_pack: putting the hours of a closed day down in few bytes, beside the day's pack or,
 * when that goes for its age, without it.
 */
#include "store/series_hours.h"

#include "measure/timestamp.h"
#include "store/series_packed.h"
#include "store/series_rollup.h"

#include <math.h>
#include <stdlib.h>

#define STEP_ROUNDING_MS 10000 /* intervals that people write are whole tens of seconds */

/* ---- what is kept of a day ---- */

static enum store_status put_kept(struct store *store, const struct day_pack_label *label,
                                  const unsigned char *bytes, size_t size) {
    sqlite3_stmt *put;
    enum store_status status =
        store_statement(store, STATEMENT_DAY_HOURS_PUT,
                        "INSERT OR REPLACE INTO day_hours VALUES (?1, ?2, ?3)", &put);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(put, 1, label->point);
    sqlite3_bind_int64(put, 2, label->day);
    sqlite3_bind_blob64(put, 3, bytes, size, SQLITE_STATIC);
    status = store_run(store, put);
    sqlite3_clear_bindings(put); /* the bytes are the caller's */
    return status;
}

static enum store_status delete_kept(struct store *store, const struct day_pack_label *label) {
    sqlite3_stmt *delete;
    enum store_status status =
        store_statement(store, STATEMENT_DAY_HOURS_DELETE,
                        "DELETE FROM day_hours WHERE point = ?1 AND day = ?2", &delete);
    if (status != STORE_OK)
        return status;
    sqlite3_bind_int64(delete, 1, label->point);
    sqlite3_bind_int64(delete, 2, label->day);
    return store_run(store, delete);
}

static uint32_t differences(const struct day_hours_table *a, const struct day_hours_table *b) {
    uint32_t bits = 0;
    for (unsigned i = 0; i < DAY_HOURS_COUNT; i++)
        bits |= day_hours_equal(a, b, i) ? 0 : 1U << i;
    return bits;
}

/* Is what comes out what is seen, to the last bit? The rows are about to go. */
static bool comes_back(const struct day_pack_label *label, const struct series_unpacked *pack,
                       const unsigned char *bytes, size_t size,
                       const struct day_hours_table *seen) {
    struct day_hours kept;
    struct day_hours_table table;
    if (day_hours_decode(label, bytes, size, &kept) != DAY_PACK_OK)
        return false;
    day_hours_fill(&kept, label, pack ? pack->readings : NULL, pack ? pack->count : 0, &table);
    return differences(&table, seen) == 0;
}

/* Writes the plan in place of the day's rows. */
static enum store_status replace_rows(struct store *store, const struct day_pack_label *label,
                                      const struct day_hours *plan,
                                      const struct series_unpacked *pack,
                                      const struct day_hours_table *seen, int *rows) {
    unsigned char bytes[DAY_HOURS_BYTES_MAX];
    size_t size;
    int64_t start_ms = label->day * DAY_PACK_DAY_MS;
    if (day_hours_encode(label, plan, bytes, &size) != DAY_PACK_OK)
        return store_failure(store, SQLITE_NOMEM);
    if (!comes_back(label, pack, bytes, size, seen))
        return STORE_OK; /* the rows stay */
    enum store_status status = plan->is_computed || plan->given
                                   ? put_kept(store, label, bytes, size)
                                   : delete_kept(store, label);
    if (status != STORE_OK)
        return status;
    return series_hours_delete_rows(store, label->point, start_ms, start_ms + DAY_PACK_DAY_MS - 1,
                                    rows);
}

/* ---- packing ---- */

/* What reaches into a packed day from outside. */
struct surroundings {
    int64_t previous_ms; /* TIMESTAMP_NONE: no reading before */
    bool has_after;
    struct reading after;
};

static enum store_status look_around(struct store *store, const struct day_pack_label *label,
                                     int64_t expired_ms, struct surroundings *around) {
    int64_t start_ms = label->day * DAY_PACK_DAY_MS;
    struct reading before = {expired_ms, 0};
    enum store_status status = series_before(store, label->point, start_ms, &before);
    around->previous_ms = before.time_ms;
    if (status == STORE_OK || status == STORE_NOT_FOUND)
        status = series_after(store, label->point, start_ms + DAY_PACK_DAY_MS, &around->after);
    around->has_after = status == STORE_OK && isfinite(around->after.value);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static int64_t span_of(int64_t time_ms, int64_t previous_ms, int64_t interval_ms) {
    bool is_short = previous_ms != TIMESTAMP_NONE && previous_ms < time_ms &&
                    time_ms - previous_ms < interval_ms;
    return is_short ? time_ms - previous_ms : interval_ms;
}

/* How the day comes out with this interval; better than *best: replaces it. */
static void try_interval(const struct day_pack_label *label, const struct series_unpacked *pack,
                         const struct surroundings *around, int64_t interval_ms,
                         const struct day_hours_table *seen, struct day_hours *best) {
    struct day_hours_table table;
    struct day_hours plan = {.is_computed = true, .interval_ms = interval_ms, .table = *seen};
    if (interval_ms <= 0 || interval_ms > DAY_HOURS_INTERVAL_MAX ||
        (best->is_computed && best->given == 0))
        return;
    plan.first_span_ms = span_of(pack->readings[0].time_ms, around->previous_ms, interval_ms);
    if (around->has_after) {
        int64_t last_ms = pack->readings[pack->count - 1].time_ms;
        int64_t from_ms =
            around->after.time_ms - span_of(around->after.time_ms, last_ms, interval_ms);
        int64_t end_ms = (label->day + 1) * DAY_PACK_DAY_MS;
        plan.reach_ms = from_ms < end_ms ? end_ms - from_ms : 0;
        plan.after_value = around->after.value;
    }
    day_hours_fill(&plan, label, pack->readings, pack->count, &table);
    plan.given = differences(&table, seen);
    if (__builtin_popcount(plan.given) < __builtin_popcount(best->given))
        *best = plan;
}

static int by_number(const void *a, const void *b) {
    int64_t one = *(const int64_t *)a, other = *(const int64_t *)b;
    return (one > other) - (one < other);
}

/* How often the point seems to have reported that day; 0: not to be told. */
static int64_t usual_step(const struct series_unpacked *pack) {
    int64_t *steps = pack->count > 1 ? malloc((pack->count - 1) * sizeof *steps) : NULL;
    if (!steps)
        return 0;
    for (size_t i = 1; i < pack->count; i++)
        steps[i - 1] = pack->readings[i].time_ms - pack->readings[i - 1].time_ms;
    qsort(steps, pack->count - 1, sizeof *steps, by_number);
    int64_t step = steps[(pack->count - 1) / 2];
    free(steps);
    return (step + STEP_ROUNDING_MS / 2) / STEP_ROUNDING_MS * STEP_ROUNDING_MS;
}

/* What is kept of a day; STORE_NOT_FOUND, STORE_DAMAGED. */
static enum store_status find_kept(struct store *store, const struct day_pack_label *label,
                                   struct day_hours *kept) {
    sqlite3_stmt *days;
    enum store_status status =
        series_hours_find_days(store, label->point, label->day, label->day, &days);
    if (status == STORE_OK)
        status = store_row(store, days);
    if (status != STORE_OK)
        return status;
    status = series_hours_read_kept(store, label, days, kept);
    sqlite3_reset(days);
    return status;
}

/* The interval the day was last packed with; 0: it was not. */
static enum store_status packed_interval(struct store *store, const struct day_pack_label *label,
                                         int64_t *interval_ms) {
    struct day_hours kept;
    enum store_status status = find_kept(store, label, &kept);
    *interval_ms = status == STORE_OK ? kept.interval_ms : 0;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status plan_computed(struct store *store, const struct day_pack_label *label,
                                       const struct series_unpacked *pack, int64_t known_ms,
                                       const struct day_hours_table *seen, struct day_hours *best) {
    struct series_point info;
    struct surroundings around;
    enum store_status status = series_point_info(store, label->point, &info);
    if (status == STORE_OK)
        status = look_around(store, label, info.expired_ms, &around);
    if (status != STORE_OK)
        return status;
    try_interval(label, pack, &around, known_ms, seen, best);
    try_interval(label, pack, &around, info.interval_ms, seen, best);
    if (best->given != 0)
        try_interval(label, pack, &around, usual_step(pack), seen, best);
    return STORE_OK;
}

/* The one pack that holds the day; STORE_NOT_FOUND: none, or it lies in parts. */
static enum store_status unpack_day(struct store *store, const struct day_pack_label *label,
                                    const struct series_unpacked **pack) {
    sqlite3_stmt *found;
    int64_t start_ms = label->day * DAY_PACK_DAY_MS, end_ms;
    *pack = NULL;
    enum store_status status = series_pack_part_end(store, label->point, start_ms, &end_ms);
    if (status == STORE_OK)
        status = end_ms < series_day_end(start_ms)
                     ? STORE_NOT_FOUND
                     : series_pack_at(store, label->point, start_ms, &found);
    if (status != STORE_OK)
        return status;
    status = series_unpack(store, UNPACKED_HOURS, label, found, 0, pack);
    sqlite3_reset(found);
    return status;
}

static struct day_hours all_given(const struct day_hours_table *seen) {
    return (struct day_hours){.given = seen->present, .table = *seen};
}

enum store_status series_hours_pack(struct store *store, const struct day_pack_label *label,
                                    const struct day_hours_table *seen, bool is_whole, int *rows) {
    const struct series_unpacked *pack = NULL;
    struct day_hours plan = all_given(seen);
    int64_t known_ms;
    *rows = 0;
    enum store_status status = packed_interval(store, label, &known_ms);
    if (status != STORE_OK || (!is_whole && known_ms == 0))
        return status;
    status = unpack_day(store, label, &pack);
    if (status == STORE_OK && plan.given)
        status = plan_computed(store, label, pack, known_ms, seen, &plan);
    else if (status == STORE_NOT_FOUND || status == STORE_DAMAGED)
        status = store->broken;
    return status == STORE_OK ? replace_rows(store, label, &plan, pack, seen, rows) : status;
}

/* ---- when readings go ---- */

/* The pack is damaged: what was given beside it is all there is. */
static enum store_status keep_given(struct store *store, const struct day_pack_label *label) {
    struct day_hours kept;
    unsigned char bytes[DAY_HOURS_BYTES_MAX];
    size_t size;
    enum store_status status = find_kept(store, label, &kept);
    if (status == STORE_NOT_FOUND)
        return STORE_OK;
    if (status == STORE_DAMAGED)
        return store->broken; /* verify tells of it */
    if (status != STORE_OK)
        return status;
    if (!kept.is_computed)
        return STORE_OK;
    kept.is_computed = false;
    if (!kept.given)
        return delete_kept(store, label);
    if (day_hours_encode(label, &kept, bytes, &size) != DAY_PACK_OK)
        return store_failure(store, SQLITE_NOMEM);
    return put_kept(store, label, bytes, size);
}

enum store_status series_hours_keep(struct store *store, const struct day_pack_label *label) {
    struct day_hours_table seen;
    int rows;
    enum store_status status = series_hours_of_day(store, label, &seen);
    if (status == STORE_DAMAGED && store->broken == STORE_OK)
        return keep_given(store, label);
    if (status != STORE_OK)
        return status;
    const struct day_hours plan = all_given(&seen);
    return replace_rows(store, label, &plan, NULL, &seen, &rows);
}
