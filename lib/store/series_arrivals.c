#include "store/series_arrivals.h"

#include "measure/array.h"
#include "store/series_hours.h"
#include "store/series_packed.h"
#include "store/series_rows.h"
#include "store/store_sqlite.h"

#include <stdlib.h>
#include <string.h>

/* Some 12 MiB when full. A point has at most POINT_MOST, so that a step is short. */
enum {
    READINGS_MOST = 262144,
    HOURS_MOST = 131072,
    POINT_MOST = 2048,
    KEY_MOST = 1 << 24,
    NONE = 0 /* a number is the index in its array + 1 */
};

struct arrived_reading {
    struct reading reading;
    uint32_t next;
    unsigned char origin;
};

struct arrived_hour {
    struct series_hour hour;
    uint32_t next;
};

struct arrived_point {
    int64_t key;
    uint32_t first, last, count, first_hour, last_hour;
};

struct series_arrivals {
    struct arrived_reading *readings;
    struct arrived_hour *hours;
    struct arrived_point *points;
    size_t reading_count, hour_count, point_count;
    uint32_t *places; /* of a key in `points`, + 1 */
    size_t place_count;
    bool places_all; /* they go into their places now, in order of their keys: */
    size_t placed;   /* so many points have gone */
};

/* ---- what is remembered ---- */

static void destroy(struct series_arrivals *arrivals) {
    if (!arrivals)
        return;
    free(arrivals->readings);
    free(arrivals->hours);
    free(arrivals->points);
    free(arrivals->places);
    free(arrivals);
}

/* The store closes. What cannot go into its place now does at the next opening. */
static void close_arrivals(struct store *store) {
    if (store->db && store->broken == STORE_OK && !store->arrivals_lost)
        series_arrivals_settle_all(store);
    destroy(store->arrivals);
    store->arrivals = NULL;
}

static struct arrived_point *find(const struct series_arrivals *arrivals, int64_t key) {
    if (!arrivals || key < 0 || (uint64_t)key >= arrivals->place_count ||
        arrivals->places[key] == NONE)
        return NULL;
    return &arrivals->points[arrivals->places[key] - 1];
}

static bool reserve_place(struct series_arrivals *arrivals, int64_t key) {
    if ((uint64_t)key < arrivals->place_count)
        return true;
    size_t count = arrivals->place_count ? 2 * arrivals->place_count : 64;
    while (count <= (uint64_t)key)
        count *= 2;
    uint32_t *grown = realloc(arrivals->places, count * sizeof *grown);
    if (!grown)
        return false;
    memset(grown + arrivals->place_count, 0, (count - arrivals->place_count) * sizeof *grown);
    arrivals->places = grown;
    arrivals->place_count = count;
    return true;
}

/* NULL: out of memory. */
static struct arrived_point *find_or_add(struct series_arrivals *arrivals, int64_t key) {
    struct arrived_point *point = find(arrivals, key);
    if (point || !reserve_place(arrivals, key))
        return point;
    point = array_room(arrivals->points, arrivals->point_count, sizeof *point);
    if (!point)
        return NULL;
    arrivals->points = point;
    point[arrivals->point_count] = (struct arrived_point){.key = key};
    arrivals->places[key] = (uint32_t)++arrivals->point_count;
    return &point[arrivals->point_count - 1];
}

static bool remember(struct series_arrivals *arrivals, int64_t key, const struct reading *reading,
                     enum series_origin origin) {
    struct arrived_point *point = find_or_add(arrivals, key);
    const struct arrived_reading one = {*reading, NONE, (unsigned char)origin};
    if (!point || !array_add(&arrivals->readings, &arrivals->reading_count, &one, sizeof one))
        return false;
    uint32_t number = (uint32_t)arrivals->reading_count;
    if (point->count++ == 0)
        point->first = number;
    else
        arrivals->readings[point->last - 1].next = number;
    point->last = number;
    return true;
}

static int by_key(const void *a, const void *b) {
    const struct arrived_point *x = a, *y = b;
    return (x->key > y->key) - (x->key < y->key);
}

/* In order of their keys neighbours share pages. */
static void begin_placing(struct series_arrivals *arrivals) {
    qsort(arrivals->points, arrivals->point_count, sizeof *arrivals->points, by_key);
    for (size_t i = 0; i < arrivals->point_count; i++)
        arrivals->places[arrivals->points[i].key] = (uint32_t)i + 1;
    arrivals->places_all = true;
}

/* ---- into their places ---- */

static enum store_status place_readings(struct store *store, const struct arrived_point *point) {
    const struct arrived_reading *readings = store->arrivals->readings;
    enum store_status status = STORE_OK;
    for (uint32_t number = point->first; number != NONE && status == STORE_OK;
         number = readings[number - 1].next) {
        const struct arrived_reading *one = &readings[number - 1];
        status = series_rows_insert(store, point->key, &one->reading, one->origin);
        series_note_oldest(store, one->reading.time_ms);
    }
    return status;
}

static enum store_status place_hours(struct store *store, const struct arrived_point *point) {
    const struct arrived_hour *hours = store->arrivals->hours;
    enum store_status status = STORE_OK;
    for (uint32_t number = point->first_hour; number != NONE && status == STORE_OK;
         number = hours[number - 1].next)
        status = series_hours_put_row(store, point->key, &hours[number - 1].hour);
    return status;
}

static enum store_status place(struct store *store, struct arrived_point *point) {
    enum store_status status = place_readings(store, point);
    THEN(status, place_hours(store, point));
    if (status == STORE_OK)
        *point = (struct arrived_point){.key = point->key};
    return status;
}

/* Goes on until so many readings have gone, or all: then the table is empty again. */
static enum store_status place_some(struct store *store, size_t most) {
    struct series_arrivals *arrivals = store->arrivals;
    enum store_status status = STORE_OK;
    if (!arrivals->places_all)
        begin_placing(arrivals);
    for (size_t gone = 0;
         gone < most && arrivals->placed < arrivals->point_count && status == STORE_OK;
         arrivals->placed++) {
        struct arrived_point *point = &arrivals->points[arrivals->placed];
        gone += 1 + point->count;
        status = place(store, point);
    }
    if (status != STORE_OK || arrivals->placed < arrivals->point_count)
        return status;
    status = store_do(store, "DELETE FROM arrivals", NO_VALUES);
    if (status == STORE_OK) {
        destroy(arrivals);
        store->arrivals = NULL;
    }
    return status;
}

static enum store_status place_some_scoped(struct store *store, size_t most) {
    bool own;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, store->arrivals ? place_some(store, most) : STORE_OK);
    return store_scope_end(store, own, status);
}

/* ---- after a death, or a rollback ---- */

/* What one point has in the table, and what is done of it. */
struct left {
    int64_t key, from_ms, to_ms;
};

static enum store_status rebuild(struct store *store, const struct left *left) {
    int64_t interval_ms;
    enum store_status status = series_interval(store, left->key, &interval_ms);
    if (status != STORE_OK)
        return status == STORE_NOT_FOUND ? store_failure(store, SQLITE_CORRUPT) : status;
    return series_hours_rebuild(store, left->key, interval_ms, left->from_ms - interval_ms,
                                left->to_ms + interval_ms);
}

/* Some of them may be in their places, which series_append finds out. */
static enum store_status recover_reading(struct store *store, sqlite3_stmt *row,
                                         struct left *left) {
    const struct reading reading = {sqlite3_column_int64(row, 1), sqlite3_column_double(row, 2)};
    int64_t key = sqlite3_column_int64(row, 0);
    enum series_append result;
    enum store_status status = STORE_OK;
    if (key != left->key) {
        if (left->key != INT64_MIN)
            status = rebuild(store, left);
        *left = (struct left){key, reading.time_ms, reading.time_ms};
    }
    left->to_ms = reading.time_ms;
    THEN(status, series_append(store, key, &reading, (enum series_origin)sqlite3_column_int(row, 3),
                               false, &result));
    return status;
}

static enum store_status recover_all(struct store *store) {
    struct left left = {INT64_MIN, 0, 0};
    int64_t counted = store->readings; /* when they came */
    sqlite3_stmt *rows;
    enum store_status status = store_ask(
        store, "SELECT point, time_ms, value, origin FROM arrivals ORDER BY point, time_ms",
        NO_VALUES, &rows);
    while (status == STORE_OK && (status = store_row(store, rows)) == STORE_OK) {
        status = recover_reading(store, rows, &left);
        if (status != STORE_OK)
            sqlite3_reset(rows);
    }
    status = status == STORE_NOT_FOUND ? STORE_OK : status;
    if (status == STORE_OK && left.key != INT64_MIN)
        status = rebuild(store, &left);
    store->readings = counted;
    return status == STORE_OK ? store_do(store, "DELETE FROM arrivals", NO_VALUES) : status;
}

static enum store_status recover(struct store *store) {
    bool own;
    if (!store->writable || store->broken != STORE_OK)
        return STORE_OK;
    destroy(store->arrivals);
    store->arrivals = NULL;
    enum store_status status = store_scope_begin(store, &own);
    if (status != STORE_OK)
        return status;
    store->arrivals_lost = false;
    status = store_scope_end(store, own, recover_all(store));
    store->arrivals_lost = status != STORE_OK;
    return status;
}

/* ---- when they go ---- */

enum store_status series_arrivals_settle(struct store *store, int64_t key) {
    bool own;
    if (store->arrivals_lost)
        return recover(store);
    struct arrived_point *point = find(store->arrivals, key);
    if (!point || point->count == 0)
        return STORE_OK;
    enum store_status status = store_scope_begin(store, &own);
    return status == STORE_OK ? store_scope_end(store, own, place(store, point)) : status;
}

enum store_status series_arrivals_settle_all(struct store *store) {
    if (store->arrivals_lost)
        return recover(store);
    return store->arrivals ? place_some_scoped(store, SIZE_MAX) : STORE_OK;
}

static bool is_to_place(const struct store *store) {
    return store->arrivals && (!store->gathers || store->arrivals->places_all);
}

enum store_status series_place(struct store *store, int most, bool all, bool *more) {
    enum store_status status = STORE_OK;
    if (store->arrivals_lost)
        status = recover(store);
    else if (store->arrivals && (all || is_to_place(store)))
        status = place_some_scoped(store, (size_t)most);
    *more = is_to_place(store);
    return status;
}

/* ---- gathering ---- */

void series_gather(struct store *store, bool gathers) {
    store->gathers = gathers;
}

bool series_arrivals_gather(const struct store *store) {
    return store->gathers &&
           !(store->arrivals && store->arrivals->places_all && !store->arrivals_lost);
}

static bool is_full(const struct series_arrivals *arrivals) {
    return arrivals->reading_count >= READINGS_MOST || arrivals->hour_count >= HOURS_MOST;
}

enum store_status series_arrivals_add(struct store *store, int64_t key,
                                      const struct reading *reading, enum series_origin origin) {
    enum store_status status = store->arrivals_lost ? recover(store) : STORE_OK;
    if (status != STORE_OK)
        return status;
    if (!store->arrivals)
        store->arrivals = calloc(1, sizeof *store->arrivals);
    store->close_arrivals = close_arrivals;
    struct series_arrivals *arrivals = store->arrivals;
    if (!arrivals || key >= KEY_MOST || !remember(arrivals, key, reading, origin))
        return store_failure(store, SQLITE_NOMEM);
    status = store_do(
        store, "INSERT INTO arrivals (point, time_ms, value, origin) VALUES (?1, ?2, ?3, ?4)",
        VALUES(INT(key), INT(reading->time_ms), NUMBER(reading->value), INT((int)origin)));
    if (status == STORE_OK && find(arrivals, key)->count >= POINT_MOST)
        status = series_arrivals_settle(store, key);
    if (is_full(arrivals))
        begin_placing(arrivals);
    return status;
}

bool series_arrivals_wait(const struct store *store, int64_t key) {
    const struct arrived_point *point = store->arrivals_lost ? NULL : find(store->arrivals, key);
    return point && point->count > 0;
}

enum store_status series_arrivals_put_hour(struct store *store, int64_t key,
                                           const struct series_hour *hour) {
    struct series_arrivals *arrivals = store->arrivals;
    struct arrived_point *point = find(arrivals, key);
    struct arrived_hour *last =
        point->last_hour == NONE ? NULL : &arrivals->hours[point->last_hour - 1];
    if (last && last->hour.hour_ms == hour->hour_ms) {
        last->hour = *hour;
        return STORE_OK;
    }
    const struct arrived_hour one = {*hour, NONE};
    if (!array_add(&arrivals->hours, &arrivals->hour_count, &one, sizeof one))
        return store_failure(store, SQLITE_NOMEM);
    uint32_t number = (uint32_t)arrivals->hour_count;
    if (point->last_hour == NONE)
        point->first_hour = number;
    else
        arrivals->hours[point->last_hour - 1].next = number;
    point->last_hour = number;
    return STORE_OK;
}
