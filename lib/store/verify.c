/*
 * store_verify: everything that can be checked in a store. SQLite's own check of its pages and
 * indexes, references between tables, running totals, and the hourly rollups, each computed again
 * from its readings. Runs in one read transaction, so a daemon may go on writing.
 *
 * Every packed day is unpacked: its check sum, form and order are looked at, its count, and that
 * none of its readings lies in the rows as well; what is kept of its hours is decoded.
 *
 * A rollup is compared as far as it can be known: hours whose readings have been deleted for age
 * not at all; hours before the point's interval last changed by count, lowest and highest only.
 */
#include "store/verify.h"
#include "store/series_arrivals.h"

#include "store/store_sqlite.h"

#include "measure/timestamp.h"
#include "pack/hour_rollup.h"
#include "store/series_hours.h"
#include "store/series_packed.h"
#include "store/series_rollup.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define FINDINGS_MAX 1000 /* what is told; the rest is only counted */
#define PAGES_SHARE 0.4   /* of the progress */
#define PACKS_SHARE 0.2
#define SUM_TOLERANCE 1e-9 /* relative: the daemon adds in another order */
#define PROGRESS_OPERATIONS 100000

struct verify {
    struct store *store;
    void (*finding)(void *context, const char *text);
    void (*progress)(void *context, double done);
    void *context;
    long findings;
    double operations, operations_expected;
};

__attribute__((format(printf, 2, 3))) static void found(struct verify *verify, const char *format,
                                                        ...) {
    char text[600];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    verify->findings++;
    if (verify->finding && verify->findings <= FINDINGS_MAX)
        verify->finding(verify->context, text);
}

static void tell_progress(struct verify *verify, double done) {
    if (verify->progress)
        verify->progress(verify->context, done);
}

static int page_progress(void *context) {
    struct verify *verify = context;
    verify->operations += PROGRESS_OPERATIONS;
    double done = verify->operations / verify->operations_expected;
    tell_progress(verify, PAGES_SHARE * (done < 1 ? done : 1));
    return 0;
}

/* Runs a query; every row becomes a finding by `tell`. */
static enum store_status findings_of(struct verify *verify, const char *sql,
                                     void (*tell)(struct verify *verify, sqlite3_stmt *row)) {
    sqlite3_stmt *rows;
    int code = sqlite3_prepare_v2(verify->store->db, sql, -1, &rows, NULL);
    if (code == SQLITE_OK) {
        while ((code = sqlite3_step(rows)) == SQLITE_ROW)
            tell(verify, rows);
        sqlite3_finalize(rows);
    }
    if (code == SQLITE_DONE || code == SQLITE_OK)
        return STORE_OK;
    enum store_status status = store_failure(verify->store, code);
    if (status == STORE_DAMAGED)
        found(verify, "the file cannot be read on: %s", sqlite3_errmsg(verify->store->db));
    return status;
}

/* SQLite's own check answers "ok"; what else a query says is what it found. */
static void tell_text(struct verify *verify, sqlite3_stmt *row) {
    const char *text = store_column_text(row, 0);
    if (!text || strcmp(text, "ok") != 0)
        found(verify, "%s", text ? text : "integrity check without an answer");
}

static const char references_sql[] =
    "SELECT printf('a row of %s belongs to no row of %s', \"table\", parent) FROM "
    "pragma_foreign_key_check";

static const char totals_sql[] =
    "SELECT printf('the running total of %s says %lld, there are %lld', name, value, counted) "
    "FROM (SELECT name, value, (SELECT count(*) FROM readings) + "
    "(SELECT coalesce(sum(count), 0) FROM packs) + "
    "(SELECT count(*) FROM arrivals a WHERE NOT EXISTS (SELECT 1 FROM readings r WHERE "
    "r.point = a.point AND r.time_ms = a.time_ms)) AS counted FROM totals "
    "WHERE name = 'readings' AND value <> counted UNION ALL "
    "SELECT name, value, (SELECT count(*) FROM outbox WHERE 'outbox ' || state = name) AS counted "
    "FROM totals WHERE name LIKE 'outbox %' AND value <> counted)";

static const char heads_sql[] =
    "SELECT printf('outbox: the next message to %s about \"%s\" is marked wrongly', contact, "
    "system) FROM outbox GROUP BY contact, system "
    "HAVING coalesce(min(CASE WHEN state = 0 THEN row END), 0) <> "
    "coalesce(min(CASE WHEN head = 1 THEN row END), 0) OR sum(head = 1) > 1";

/* ---- packed days ---- */

static void found_pack(struct verify *verify, sqlite3_stmt *pack,
                       const struct day_pack_label *label, const char *what) {
    char when[40];
    timestamp_format(when, sizeof when, label->day * DAY_PACK_DAY_MS);
    when[strcspn(when, "T")] = '\0';
    found(verify, "packed day of %s/%s, %s: %s", store_column_text(pack, 4),
          store_column_text(pack, 5), when, what);
}

/* Rows beside a pack: none may be there twice. */
static enum store_status check_beside(struct verify *verify, sqlite3_stmt *pack,
                                      const struct series_unpacked *day) {
    sqlite3_stmt *rows;
    enum store_status status =
        store_ask(verify->store,
                  "SELECT time_ms FROM readings WHERE point = ?1 AND time_ms BETWEEN ?2 AND ?3",
                  VALUES(INT(day->label.point), INT(day->readings[0].time_ms),
                         INT(day->readings[day->count - 1].time_ms)),
                  &rows);
    while (status == STORE_OK && (status = store_row(verify->store, rows)) == STORE_OK) {
        int64_t time_ms = sqlite3_column_int64(rows, 0);
        size_t at = series_unpacked_find(day, time_ms);
        if (at < day->count && day->readings[at].time_ms == time_ms)
            found_pack(verify, pack, &day->label, "one of its readings is there twice");
    }
    return store_listed(rows, status);
}

/* A pack holds readings of its part of the day alone. */
static void check_part(struct verify *verify, sqlite3_stmt *pack,
                       const struct series_unpacked *day) {
    int64_t end_ms = sqlite3_column_int64(pack, 7);
    if (day->readings[0].time_ms < sqlite3_column_int64(pack, 1) ||
        day->readings[day->count - 1].time_ms >= end_ms)
        found_pack(verify, pack, &day->label, "holds readings of another part of the day");
}

static enum store_status check_pack(struct verify *verify, sqlite3_stmt *pack) {
    const struct day_pack_label label = {sqlite3_column_int64(pack, 0),
                                         day_pack_day(sqlite3_column_int64(pack, 1))};
    const struct series_unpacked *day;
    enum store_status status = series_unpack(verify->store, UNPACKED_CURSOR, &label, pack, 3, &day);
    if (status == STORE_DAMAGED) {
        found_pack(verify, pack, &label, "damaged; its readings are in a backup only");
        return STORE_OK;
    }
    if (status != STORE_OK)
        return status;
    if (sqlite3_column_int64(pack, 2) != (int64_t)day->count)
        found_pack(verify, pack, &label, "holds another number of readings than noted");
    check_part(verify, pack, day);
    return check_beside(verify, pack, day);
}

static enum store_status verify_packs(struct verify *verify) {
    sqlite3_stmt *packs;
    enum store_status status =
        store_ask(verify->store,
                  "SELECT d.point, d.from_ms, d.count, d.pack, p.system, p.point, "
                  "1.0 * p.key / (SELECT max(key) FROM points), "
                  "coalesce((SELECT min(from_ms) FROM packs n WHERE "
                  "n.point = d.point AND n.from_ms > d.from_ms), 1 << 62) "
                  "FROM packs d JOIN points p ON p.key = d.point ORDER BY d.point, d.from_ms",
                  NO_VALUES, &packs);
    while (status == STORE_OK && (status = store_row(verify->store, packs)) == STORE_OK) {
        status = check_pack(verify, packs);
        tell_progress(verify, PAGES_SHARE + PACKS_SHARE * sqlite3_column_double(packs, 6));
    }
    return store_listed(packs, status);
}

/* ---- hours of packed days ---- */

static void tell_day_hours(struct verify *verify, sqlite3_stmt *row) {
    const struct day_pack_label label = {sqlite3_column_int64(row, 0),
                                         sqlite3_column_int64(row, 1)};
    struct day_hours day;
    if (!sqlite3_column_blob(row, 2) ||
        day_hours_decode(&label, sqlite3_column_blob(row, 2), (size_t)sqlite3_column_bytes(row, 2),
                         &day) != DAY_PACK_OK)
        found_pack(verify, row, &label, "its hours are damaged; they are in a backup only");
    else if (day.is_computed && sqlite3_column_int(row, 3) == 0)
        found_pack(verify, row, &label, "hours are noted, but there are no readings");
}

static const char day_hours_sql[] =
    "SELECT h.point, h.day, h.hours, d.from_ms IS NOT NULL, p.system, p.point FROM day_hours h "
    "JOIN points p ON p.key = h.point LEFT JOIN packs d ON d.point = h.point AND "
    "d.from_ms = h.day * 86400000";

/* ---- rollups ---- */

struct rollup_check {
    struct verify *verify;
    const char *system, *point;
    struct series_hours_cursor cursor; /* the point's hours in order */
    bool has_kept;
    struct series_hour kept; /* the next of them */
    int64_t exact_from_ms;   /* sums are comparable from this hour on */
};

static void found_hour(struct rollup_check *check, int64_t hour_ms, const char *what) {
    char when[40];
    found(check->verify, "rollup of %s/%s, hour %s: %s", check->system, check->point,
          timestamp_format(when, sizeof when, hour_ms), what);
}

static enum store_status next_kept(struct rollup_check *check) {
    enum store_status status = series_hours_next(&check->cursor, &check->kept);
    check->has_kept = status == STORE_OK;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static bool close_to(double a, double b, double scale) {
    return fabs(a - b) <= SUM_TOLERANCE * scale + 1e-6;
}

static void compare_hour(struct rollup_check *check, const struct series_hour *hour) {
    const struct series_hour *kept = &check->kept;
    char what[200];
    long long count = kept->count, covered = kept->covered_ms;
    double value_ms = kept->value_ms;
    if (count != hour->count) {
        snprintf(what, sizeof what, "%lld readings noted, %lld found", count,
                 (long long)hour->count);
        found_hour(check, hour->hour_ms, what);
    } else if (count > 0 && (kept->lowest != hour->lowest || kept->highest != hour->highest)) {
        found_hour(check, hour->hour_ms, "lowest or highest differs from the readings");
    }
    if (hour->hour_ms < check->exact_from_ms)
        return;
    if (covered != hour->covered_ms) {
        snprintf(what, sizeof what, "%lld ms covered noted, %lld found", covered,
                 (long long)hour->covered_ms);
        found_hour(check, hour->hour_ms, what);
    } else if (!close_to(value_ms, hour->value_ms,
                         fmax(fabs(hour->value_ms), fmax(fabs(hour->lowest), fabs(hour->highest)) *
                                                        (double)hour->covered_ms))) {
        snprintf(what, sizeof what, "sum %.17g noted, %.17g found", value_ms, hour->value_ms);
        found_hour(check, hour->hour_ms, what);
    }
}

/* Hours that are noted but have no readings. */
static enum store_status skip_kept_before(struct rollup_check *check, int64_t hour_ms) {
    enum store_status status = STORE_OK;
    while (status == STORE_OK && check->has_kept && check->kept.hour_ms < hour_ms) {
        int64_t hour = check->kept.hour_ms;
        if (hour >= check->exact_from_ms || check->kept.count > 0)
            found_hour(check, hour, "noted, but there are no readings");
        status = next_kept(check);
    }
    return status;
}

static enum store_status check_hour(void *context, const struct series_hour *hour) {
    struct rollup_check *check = context;
    enum store_status status = skip_kept_before(check, hour->hour_ms);
    if (status != STORE_OK)
        return status;
    if (!check->has_kept || check->kept.hour_ms != hour->hour_ms) {
        if (hour->hour_ms >= check->exact_from_ms || hour->count > 0)
            found_hour(check, hour->hour_ms, "missing");
        return STORE_OK;
    }
    compare_hour(check, hour);
    return next_kept(check);
}

static enum store_status check_rollups(struct rollup_check *check, int64_t key) {
    struct store *store = check->verify->store;
    struct series_point info;
    struct reading newest;
    enum store_status status = series_point_info(store, key, &info);
    THEN(status, series_newest(store, key, &newest));
    if (status != STORE_OK || info.interval_ms <= 0)
        return status == STORE_NOT_FOUND ? STORE_OK : status;
    int64_t from_ms = info.expired_ms == TIMESTAMP_NONE
                          ? -(INT64_C(1) << 60) / HOUR_ROLLUP_HOUR_MS * HOUR_ROLLUP_HOUR_MS
                          : hour_rollup_start(info.expired_ms) + HOUR_ROLLUP_HOUR_MS;
    check->exact_from_ms = info.interval_from_ms == TIMESTAMP_NONE
                               ? from_ms
                               : hour_rollup_start(info.interval_from_ms) + HOUR_ROLLUP_HOUR_MS;
    status = series_hours_open(&check->cursor, store, key, from_ms, INT64_MAX, true);
    THEN(status, next_kept(check));
    THEN(status, series_rollup_run(store, key, info.interval_ms, info.expired_ms, from_ms,
                                   hour_rollup_start(newest.time_ms), check_hour, check));
    THEN(status, skip_kept_before(check, INT64_MAX));
    series_hours_close(&check->cursor);
    return status;
}

static enum store_status verify_rollups(struct verify *verify) {
    struct rollup_check check = {.verify = verify};
    sqlite3_stmt *points;
    enum store_status status = store_ask(
        verify->store,
        "SELECT key, system, point, 1.0 * key / (SELECT max(key) FROM points) FROM points "
        "ORDER BY key",
        NO_VALUES, &points);
    while (status == STORE_OK && (status = store_row(verify->store, points)) == STORE_OK) {
        check.system = store_column_text(points, 1);
        check.point = store_column_text(points, 2);
        status = check_rollups(&check, sqlite3_column_int64(points, 0));
        double done = sqlite3_column_double(points, 3);
        tell_progress(verify, PAGES_SHARE + PACKS_SHARE + (1 - PAGES_SHARE - PACKS_SHARE) * done);
    }
    return store_listed(points, status);
}

/* ---- all of it ---- */

static enum store_status verify_all(struct verify *verify) {
    sqlite3 *db = verify->store->db;
    sqlite3_progress_handler(db, PROGRESS_OPERATIONS, page_progress, verify);
    enum store_status status = findings_of(verify, "PRAGMA integrity_check(1000)", tell_text);
    sqlite3_progress_handler(db, 0, NULL, NULL);
    if (status == STORE_OK && verify->findings == 0)
        status = findings_of(verify, references_sql, tell_text);
    if (status == STORE_OK && verify->findings == 0)
        status = findings_of(verify, totals_sql, tell_text);
    if (status == STORE_OK && verify->findings == 0)
        status = findings_of(verify, heads_sql, tell_text);
    tell_progress(verify, PAGES_SHARE);
    if (status == STORE_OK && verify->findings == 0)
        status = verify_packs(verify);
    if (status == STORE_OK && verify->findings == 0)
        status = findings_of(verify, day_hours_sql, tell_day_hours);
    if (status == STORE_OK && verify->findings == 0)
        status = verify_rollups(verify);
    return status;
}

enum store_status store_verify(struct store *store,
                               void (*finding)(void *context, const char *text),
                               void (*progress)(void *context, double done), void *context) {
    struct verify verify = {.store = store,
                            .finding = finding,
                            .progress = progress,
                            .context = context,
                            .operations_expected = 20.0 * (double)store->readings + 1e6};
    bool own = !store->in_transaction;
    enum store_status status = series_arrivals_settle_all(store); /* of a reader: nothing */
    if (status != STORE_OK)
        return status;
    if (own && sqlite3_exec(store->db, "BEGIN", NULL, NULL, NULL) != SQLITE_OK)
        return store_failure(store, sqlite3_extended_errcode(store->db));
    status = verify_all(&verify);
    if (own && !sqlite3_get_autocommit(store->db))
        sqlite3_exec(store->db, "COMMIT", NULL, NULL, NULL);
    if (verify.findings > FINDINGS_MAX && finding) {
        char text[80];
        snprintf(text, sizeof text, "and %ld more", verify.findings - FINDINGS_MAX);
        finding(context, text);
    }
    if (status != STORE_OK && status != STORE_DAMAGED)
        return status;
    tell_progress(&verify, 1.0);
    return verify.findings > 0 ? STORE_DAMAGED : status;
}
