/*
 * bench_pack: what history costs at rest and how fast it is read. Simulates systems of four points
 * (suction, radon, airflow, fan power: noise around a level that drifts, two or three digits, ten
 * minutes apart) day by day: append, hours, daily values, packing of days older than two. Prints
 * bytes a reading by table and in all, the time of a packing step, and of reading a day, a month
 * and a year, with ratios to the same readings as rows. Arguments: years systems jitter_ms
 * [folder]; jitter_ms: times are those of arrival, so much too early or late; 0: the devices' own.
 */
#include "measure/unit.h"
#include "pack/day_pack.h"
#include "store/series.h"
#include "store/store.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define A_DAY 144
#define INTERVAL_MS (DAY_PACK_DAY_MS / A_DAY)
#define FIRST_DAY 16000
#define BATCH 2000 /* readings a commit */
#define POINTS 4

static const struct {
    const char *name, *unit;
    double level, noise, digits;
} points[POINTS] = {{"suction", "inH2O", 0.62, 0.01, 100},
                    {"radon", "pCi/L", 1.3, 0.4, 10},
                    {"flow", "cfm", 61.0, 1.5, 10},
                    {"power", "W", 63.0, 0.6, 10}};

struct run {
    struct store *store;
    long days, systems;
    double jitter_ms;
    bool packs;
    int64_t *keys;
    double *levels;
    uint64_t random;
    double append_s, rollup_s, pack_s, longest_step_s;
};

static double seconds(clockid_t clock) {
    struct timespec now;
    clock_gettime(clock, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static double cpu(void) {
    return seconds(CLOCK_PROCESS_CPUTIME_ID);
}

static void must(enum store_status status, struct store *store, const char *what) {
    if (status == STORE_OK)
        return;
    fprintf(stderr, "%s: status %d %s\n", what, status, store ? store_error(store) : "");
    exit(1);
}

static double unit_random(struct run *run) { /* splitmix64 */
    uint64_t z = run->random += UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return (double)((z ^ z >> 31) >> 11) * 0x1p-53;
}

static double noise(struct run *run) { /* Irwin-Hall of 12: nearly normal */
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += unit_random(run);
    return sum;
}

static struct reading make_reading(struct run *run, long point, int64_t day, long i) {
    size_t kind = (size_t)point % POINTS;
    const struct unit *unit = unit_find(points[kind].unit, strlen(points[kind].unit));
    double value = run->levels[point] + points[kind].noise * noise(run),
           digits = points[kind].digits;
    run->levels[point] +=
        0.02 * points[kind].noise * noise(run) + 0.001 * (points[kind].level - run->levels[point]);
    int64_t time_ms = day * DAY_PACK_DAY_MS + i * INTERVAL_MS + INTERVAL_MS / 2 + point * 1000;
    return (struct reading){time_ms + (int64_t)(run->jitter_ms * (2 * unit_random(run) - 1)),
                            unit_to_si(unit, round(value * digits) / digits)};
}

static int by_value(const void *a, const void *b) {
    double one = *(const double *)a, other = *(const double *)b;
    return (one > other) - (one < other);
}

/* The daily row, as the daemon makes it once the day is over. */
static void keep_day(struct run *run, long point, int64_t day) {
    struct reading readings[A_DAY + 1];
    double values[A_DAY + 1], sum = 0;
    size_t count;
    int64_t start_ms = day * DAY_PACK_DAY_MS;
    must(series_read(run->store, run->keys[point], start_ms, start_ms + DAY_PACK_DAY_MS, readings,
                     A_DAY + 1, &count),
         run->store, "read");
    if (count == 0)
        return;
    for (size_t i = 0; i < count; i++)
        sum += values[i] = readings[i].value;
    qsort(values, count, sizeof *values, by_value);
    const struct series_day row = {day,
                                   start_ms,
                                   start_ms + DAY_PACK_DAY_MS,
                                   (int64_t)count,
                                   values[count / 2],
                                   sum / (double)count,
                                   DAY_PACK_DAY_MS};
    must(series_day_put(run->store, run->keys[point], &row), run->store, "day");
}

static void append_day(struct run *run, int64_t day) {
    struct store *store = run->store;
    double begin = cpu();
    long uncommitted = 0;
    must(store_begin(store), store, "begin");
    for (long i = 0; i < A_DAY; i++) {
        for (long p = 0; p < POINTS * run->systems; p++) {
            struct reading reading = make_reading(run, p, day, i);
            enum series_append result;
            must(series_append(store, run->keys[p], &reading, SERIES_FROM_SENSOR, true, &result),
                 store, "append");
            if (++uncommitted % BATCH == 0) {
                must(store_commit(store), store, "commit");
                must(store_begin(store), store, "begin");
            }
        }
    }
    run->append_s += cpu() - begin;
    begin = cpu();
    for (long p = 0; p < POINTS * run->systems; p++)
        must(series_hours_rebuild(store, run->keys[p], INTERVAL_MS,
                                  day * DAY_PACK_DAY_MS - INTERVAL_MS,
                                  (day + 1) * DAY_PACK_DAY_MS - 1),
             store, "rollup");
    for (long p = 0; p < POINTS * run->systems; p++)
        keep_day(run, p, day - 1);
    must(store_commit(store), store, "commit");
    run->rollup_s += cpu() - begin;
}

static void pack_old(struct run *run, int64_t day) {
    int packed = 1;
    while (run->packs && packed > 0) {
        double begin = cpu();
        must(series_pack(run->store, (day - 1) * DAY_PACK_DAY_MS, 1000, &packed), run->store,
             "pack");
        double took = cpu() - begin;
        run->pack_s += took;
        run->longest_step_s = took > run->longest_step_s ? took : run->longest_step_s;
    }
}

static void make_points(struct run *run) {
    char name[40];
    must(store_begin(run->store), run->store, "begin");
    for (long p = 0; p < POINTS * run->systems; p++) {
        snprintf(name, sizeof name, "system-%ld", p / POINTS);
        must(series_key(run->store, name, points[p % POINTS].name, &run->keys[p]), run->store,
             "key");
        must(series_set_interval(run->store, run->keys[p], INTERVAL_MS), run->store, "interval");
        run->levels[p] = points[p % POINTS].level;
    }
    must(store_commit(run->store), run->store, "commit");
}

static void fill(struct run *run, const char *path) {
    char why[500] = "";
    const struct store_options options = {.mode = STORE_READ_WRITE};
    must(store_open(path, &options, &run->store, why, sizeof why), NULL, why);
    run->keys = calloc((size_t)(POINTS * run->systems), sizeof *run->keys);
    run->levels = calloc((size_t)(POINTS * run->systems), sizeof *run->levels);
    if (!run->keys || !run->levels)
        exit(1);
    make_points(run);
    for (int64_t day = FIRST_DAY; day < FIRST_DAY + run->days; day++) {
        append_day(run, day);
        pack_old(run, day);
    }
}

/* ---- what it cost ---- */

static double ask(const char *path, const char *sql) {
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    double answer = NAN;
    if (sqlite3_open(path, &db) == SQLITE_OK &&
        sqlite3_prepare_v2(db, sql, -1, &statement, NULL) == SQLITE_OK &&
        sqlite3_step(statement) == SQLITE_ROW)
        answer = sqlite3_column_double(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return answer;
}

static void tell_size(const struct run *run, const char *path) {
    double total = (double)(run->days * run->systems) * POINTS * A_DAY;
    double packed = ask(path, "SELECT coalesce(sum(count), 0) FROM packs");
    double file = ask(path, "SELECT sum(pgsize) FROM dbstat WHERE aggregate = TRUE");
    double packs = ask(path, "SELECT pgsize FROM dbstat WHERE aggregate = TRUE AND name = 'packs'");
    double inside = ask(path, "SELECT sum(length(pack)) FROM packs");
    double rows =
        ask(path, "SELECT pgsize FROM dbstat WHERE aggregate = TRUE AND name = 'readings'");
    double hours = ask(path, "SELECT sum(pgsize) FROM dbstat WHERE aggregate = TRUE AND name IN "
                             "('hours', 'day_hours')");
    double days = ask(path, "SELECT pgsize FROM dbstat WHERE aggregate = TRUE AND name = 'days'");
    double row_count = total - packed;
    printf("%.0f readings, %.0f of them packed; bytes a reading:\n", total, packed);
    if (packed > 0)
        printf("  packed: %.3f (of it %.3f in the packs themselves)\n", packs / packed,
               inside / packed);
    if (row_count > 0)
        printf("  rows: %.2f\n", rows / row_count);
    printf("  all readings: %.3f, hours: %.3f, days: %.3f, whole file: %.3f (%.1f MiB)\n",
           (packs + rows) / total, hours / total, days / total, file / total, file / 1048576);
    printf("CPU a reading: append %.2f us, rollups %.2f us, packing %.2f us; longest packing step "
           "%.1f ms\n",
           1e6 * run->append_s / total, 1e6 * run->rollup_s / total,
           packed > 0 ? 1e6 * run->pack_s / packed : 0.0, 1e3 * run->longest_step_s);
}

/* ---- reading ---- */

static double time_read(struct run *run, long days, size_t *count) {
    static struct reading readings[366 * A_DAY];
    long tries = days > 100 ? 20 : 200, latest = run->days - 3 - days;
    double begin = cpu();
    for (long i = 0; i < tries; i++) {
        long p = (long)(unit_random(run) * (double)(POINTS * run->systems));
        int64_t day = FIRST_DAY + (int64_t)(unit_random(run) * (double)(latest > 0 ? latest : 1));
        must(series_read(run->store, run->keys[p], day * DAY_PACK_DAY_MS,
                         (day + days) * DAY_PACK_DAY_MS, readings, 366 * A_DAY, count),
             run->store, "read");
    }
    return (cpu() - begin) / (double)tries;
}

static double time_chart(struct run *run, long days) {
    static struct series_hour hours[366 * 24];
    size_t count;
    double begin = cpu();
    for (int i = 0; i < 20; i++)
        must(series_hours(run->store, run->keys[0], FIRST_DAY * DAY_PACK_DAY_MS,
                          (FIRST_DAY + days) * DAY_PACK_DAY_MS, hours, 366 * 24, &count),
             run->store, "hours");
    return (cpu() - begin) / 20;
}

static void remove_store(const char *path) {
    static const char *const suffixes[] = {"", "-wal", "-shm", ".lock"};
    char name[400];
    for (size_t i = 0; i < 4; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
}

static void tell_opening(struct run *run, const char *path) {
    const struct store_options options = {.mode = STORE_READ_WRITE};
    char why[500] = "";
    store_close(run->store);
    double begin = seconds(CLOCK_MONOTONIC);
    must(store_open(path, &options, &run->store, why, sizeof why), NULL, why);
    printf("opening the store: %.1f ms\n", 1e3 * (seconds(CLOCK_MONOTONIC) - begin));
}

int main(int argc, char **argv) {
    double years = argc > 1 ? atof(argv[1]) : 1;
    long systems = argc > 2 ? atol(argv[2]) : 2;
    double jitter = argc > 3 ? atof(argv[3]) : 0;
    const char *folder = argc > 4 ? argv[4] : ".";
    char packs_path[300], rows_path[300];
    snprintf(packs_path, sizeof packs_path, "%s/bench_pack_packs.db", folder);
    snprintf(rows_path, sizeof rows_path, "%s/bench_pack_rows.db", folder);
    long days = (long)(years * 365.25);
    if (days < 5 || systems < 1 || access(packs_path, F_OK) == 0 || access(rows_path, F_OK) == 0) {
        fprintf(stderr, "bench_pack [years systems jitter_ms folder]; no store may be there\n");
        return 2;
    }
    struct run packs = {
        .days = days, .systems = systems, .jitter_ms = jitter, .packs = true, .random = 1};
    /* A year as rows is enough to compare with. */
    struct run rows = {.days = days < 366 ? days : 366,
                       .systems = systems < 10 ? systems : 10,
                       .jitter_ms = jitter,
                       .random = 1};
    fill(&packs, packs_path);
    tell_size(&packs, packs_path);
    tell_opening(&packs, packs_path);
    fill(&rows, rows_path);
    printf("the same as rows, at most a year of ten systems: ");
    tell_size(&rows, rows_path);
    static const long spans[] = {1, 30, 360};
    for (size_t i = 0; i < 3 && spans[i] + 3 < rows.days; i++) {
        size_t count = 0;
        double packed = time_read(&packs, spans[i], &count),
               row = time_read(&rows, spans[i], &count);
        printf("reading %3ld days (%zu readings): packed %.0f us, rows %.0f us, ratio %.2f\n",
               spans[i], count, 1e6 * packed, 1e6 * row, packed / row);
    }
    printf("hours of a year for a chart: %.0f us\n", 1e6 * time_chart(&packs, 365));
    store_close(packs.store);
    store_close(rows.store);
    remove_store(packs_path);
    remove_store(rows_path);
    free(packs.keys);
    free(packs.levels);
    free(rows.keys);
    free(rows.levels);
    return 0;
}
