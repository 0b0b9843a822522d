/*
 * Regions and their members are laid out once, as the fleet never changes. A table is brought
 * forward in pieces of days: a matrix of logarithms, a row a day, is filled member by member, one
 * at a call, and then given to common_change row by row.
 */
#include "monitor/neighbours.h"

#include "analysis/statistics.h"
#include "measure/array.h"
#include "measure/root_sum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    PIECE_DAYS = 64,
    LEAST_DAYS = 30,
    FIRST_DAYS = 30,
    WEEK_DAYS = 7,
    YEAR_DAYS = 365,
    LEAST_PAIRS = 60, /* of days a year apart */
    KINDS = 4
};
static const enum quantity kinds[KINDS] = {QUANTITY_SUCTION, QUANTITY_FIELD, QUANTITY_RADON,
                                           QUANTITY_WATER_LEVEL};
static const double years_differ = 0.06;
static const double least_known = 0.75;      /* of the days of a series */
static const double least_radon_bq_m3 = 5.0; /* below it the detector's background rules */

struct table_day {
    float change, standard_uncertainty; /* NaN: not known */
};

struct change_table {
    enum quantity quantity;
    size_t *points, count;
    struct common_change *common; /* NULL: not begun */
    int64_t first_day, next_day;
    struct table_day *days; /* [first_day, next_day) */
    size_t houses;          /* of the newest known day */
    bool line_known;
    double line_per_day; /* of suction and field: what is no weather */
    double *piece;       /* the next days, a row each, being read member by member, or NULL */
    int64_t piece_to;
    size_t members_read;
};

struct region {
    const char *name;
    size_t systems;
    struct change_table tables[KINDS]; /* count 0: too few points, no table */
};

struct neighbours {
    const struct fleet *fleet;
    struct region *regions;
    size_t region_count;
    size_t *region_of; /* by system */
    bool apart;
};

/* ---- layout ---- */

static const char *region_name(const struct fleet *fleet, size_t system) {
    const char *named = fleet->systems[system].description->region;
    return named ? named : time_zone_name(fleet->systems[system].zone);
}

struct placed {
    const char *name;
    size_t system;
};

static int by_name(const void *a, const void *b) {
    const struct placed *x = a, *y = b;
    int order = strcmp(x->name, y->name);
    return order != 0 ? order : (x->system > y->system) - (x->system < y->system);
}

/* The points of a quantity, one a system, evenly chosen where there are many. False: no memory. */
static bool lay_table(const struct fleet *fleet, const struct placed *placed, size_t count,
                      enum quantity quantity, struct change_table *table) {
    size_t *points = calloc(count, sizeof *points), found = 0;
    if (!points)
        return false;
    for (size_t i = 0; i < count; i++) {
        points[found] = fleet_point_of(fleet, placed[i].system, quantity);
        found += points[found] != FLEET_NONE;
    }
    *table = (struct change_table){.quantity = quantity};
    table->count = found < COMMON_CHANGE_MOST ? found : COMMON_CHANGE_MOST;
    if (found < COMMON_CHANGE_LEAST)
        table->count = 0;
    table->points = table->count ? calloc(table->count, sizeof *table->points) : NULL;
    for (size_t i = 0; table->points && i < table->count; i++)
        table->points[i] = points[i * found / table->count];
    free(points);
    return table->count == 0 || table->points;
}

static bool lay_region(struct neighbours *neighbours, const struct placed *placed, size_t count) {
    struct region *region = &neighbours->regions[neighbours->region_count];
    *region = (struct region){.name = placed[0].name, .systems = count};
    for (size_t i = 0; i < count; i++)
        neighbours->region_of[placed[i].system] = neighbours->region_count;
    neighbours->region_count++;
    for (size_t k = 0; k < KINDS; k++) {
        if (!lay_table(neighbours->fleet, placed, count, kinds[k], &region->tables[k]))
            return false;
    }
    return true;
}

static bool lay_regions(struct neighbours *neighbours, struct placed *placed, size_t count) {
    for (size_t s = 0; s < count; s++)
        placed[s] = (struct placed){region_name(neighbours->fleet, s), s};
    qsort(placed, count, sizeof *placed, by_name);
    for (size_t first = 0, end; first < count; first = end) {
        end = first + 1;
        while (end < count && strcmp(placed[end].name, placed[first].name) == 0)
            end++;
        struct region *regions =
            array_room(neighbours->regions, neighbours->region_count, sizeof *regions);
        if (!regions)
            return false;
        neighbours->regions = regions;
        if (!lay_region(neighbours, placed + first, end - first))
            return false;
    }
    return true;
}

struct neighbours *neighbours_create(const struct fleet *fleet) {
    struct neighbours *neighbours = calloc(1, sizeof *neighbours);
    struct placed *placed = calloc(fleet->system_count + 1, sizeof *placed);
    if (neighbours) {
        neighbours->fleet = fleet;
        neighbours->region_of = calloc(fleet->system_count + 1, sizeof *neighbours->region_of);
    }
    bool good = neighbours && placed && neighbours->region_of &&
                lay_regions(neighbours, placed, fleet->system_count);
    free(placed);
    if (good)
        return neighbours;
    neighbours_destroy(neighbours);
    return NULL;
}

static void forget(struct change_table *table) {
    common_change_destroy(table->common);
    free(table->days);
    free(table->piece);
    table->piece = NULL;
    table->common = NULL;
    table->days = NULL;
    table->houses = 0;
    table->line_known = false;
    table->line_per_day = 0.0;
}

void neighbours_forget(struct neighbours *neighbours) {
    for (size_t r = 0; r < neighbours->region_count; r++) {
        for (size_t k = 0; k < KINDS; k++)
            forget(&neighbours->regions[r].tables[k]);
    }
}

void neighbours_set_apart(struct neighbours *neighbours) {
    neighbours->apart = true;
    neighbours_forget(neighbours);
}

void neighbours_destroy(struct neighbours *neighbours) {
    if (!neighbours)
        return;
    neighbours_forget(neighbours);
    for (size_t r = 0; r < neighbours->region_count; r++) {
        for (size_t k = 0; k < KINDS; k++)
            free(neighbours->regions[r].tables[k].points);
    }
    free(neighbours->regions);
    free(neighbours->region_of);
    free(neighbours);
}

/* ---- bringing a table forward ---- */

static bool begin(struct change_table *table, int64_t to_day) {
    table->common = common_change_create(table->count);
    table->days = calloc(NEIGHBOURS_DAYS, sizeof *table->days);
    table->first_day = table->next_day = to_day - NEIGHBOURS_DAYS;
    return table->common && table->days;
}

/* The logarithm that is compared; NaN where there is none. */
static double log_of(enum quantity quantity, const struct history_day *day) {
    double value = quantity == QUANTITY_RADON ? fmax(day->mean, least_radon_bq_m3) : day->median;
    return value > 0.0 && !isnan(day->mean) ? log(value) : NAN;
}

/* One member's days, into the rows of the piece. False: the history failed. */
static bool read_member(const struct change_table *table, const struct history *history) {
    struct history_day days[PIECE_DAYS];
    size_t member = table->members_read;
    size_t n = history_days(history, table->points[member], table->next_day, table->piece_to, days,
                            PIECE_DAYS);
    for (int64_t d = table->next_day; d < table->piece_to; d++)
        table->piece[(size_t)(d - table->next_day) * table->count + member] = NAN;
    for (size_t i = 0; n != HISTORY_FAILED && i < n; i++)
        table->piece[(size_t)(days[i].local_day - table->next_day) * table->count + member] =
            log_of(table->quantity, &days[i]);
    return n != HISTORY_FAILED;
}

/* The oldest day makes room. */
static struct table_day *next_place(struct change_table *table) {
    size_t count = (size_t)(table->next_day - table->first_day);
    if (count == NEIGHBOURS_DAYS) {
        memmove(table->days, table->days + 1, (count - 1) * sizeof *table->days);
        table->first_day++;
        count--;
    }
    table->next_day++;
    return &table->days[count];
}

static bool wears(enum quantity quantity) {
    return quantity == QUANTITY_SUCTION || quantity == QUANTITY_FIELD;
}

static void find_line(struct change_table *table) {
    double steps[NEIGHBOURS_DAYS], median = 0.0;
    size_t n = 0, count = (size_t)(table->next_day - table->first_day);
    for (size_t i = YEAR_DAYS; i < count; i++) {
        double step = (double)table->days[i].change - (double)table->days[i - YEAR_DAYS].change;
        if (isfinite(step))
            steps[n++] = step;
    }
    if (n < LEAST_PAIRS || statistics_median_in_place(steps, n, &median) != STATISTICS_OK)
        return;
    table->line_known = true;
    table->line_per_day = fabs(median) > years_differ ? median / YEAR_DAYS : 0.0;
}

/* The piece is complete. */
static void take_piece(struct change_table *table) {
    size_t rows = (size_t)(table->piece_to - table->next_day);
    for (size_t d = 0; d < rows; d++) {
        struct common_change_day day;
        common_change_add(table->common, table->piece + d * table->count, &day);
        *next_place(table) = (struct table_day){(float)day.change, (float)day.standard_uncertainty};
        if (!isnan(day.change))
            table->houses = day.houses;
    }
    free(table->piece);
    table->piece = NULL;
    if (wears(table->quantity))
        find_line(table);
}

static bool begin_piece(struct change_table *table, int64_t to_day) {
    table->piece_to = to_day - table->next_day > PIECE_DAYS ? table->next_day + PIECE_DAYS : to_day;
    table->members_read = 0;
    table->piece =
        malloc((size_t)(table->piece_to - table->next_day) * table->count * sizeof *table->piece);
    return table->piece;
}

/* One step of a table that lacks days before `to_day`. */
static bool bring(struct change_table *table, const struct history *history, int64_t to_day) {
    if (!table->piece && !begin_piece(table, to_day))
        return false;
    if (!read_member(table, history))
        return false;
    if (++table->members_read == table->count)
        take_piece(table);
    return true;
}

enum neighbours_progress neighbours_advance(struct neighbours *neighbours,
                                            const struct history *history, size_t system,
                                            int64_t to_day) {
    struct region *region = &neighbours->regions[neighbours->region_of[system]];
    for (size_t k = 0; k < KINDS; k++) {
        struct change_table *table = &region->tables[k];
        if (table->count == 0 || neighbours->apart)
            continue;
        if (table->common && to_day - table->next_day > NEIGHBOURS_DAYS)
            forget(table); /* long before all that is wanted */
        if (!table->common && !begin(table, to_day)) {
            forget(table);
            return NEIGHBOURS_FAILED;
        }
        if (table->next_day >= to_day)
            continue;
        return bring(table, history, to_day) ? NEIGHBOURS_MORE : NEIGHBOURS_FAILED;
    }
    return NEIGHBOURS_READY;
}

/* ---- asking ---- */

static const struct region *region_of(const struct neighbours *neighbours, size_t system) {
    return &neighbours->regions[neighbours->region_of[system]];
}

size_t neighbours_systems(const struct neighbours *neighbours, size_t system, const char **region) {
    *region = region_of(neighbours, system)->name;
    return region_of(neighbours, system)->systems;
}

const char *neighbours_region(const struct neighbours *neighbours, size_t i) {
    return i < neighbours->region_count ? neighbours->regions[i].name : NULL;
}

/* NULL: the region has none that was begun. */
static const struct change_table *table_for(const struct neighbours *neighbours, size_t point) {
    const struct fleet_point *owner = &neighbours->fleet->points[point];
    const struct region *region = region_of(neighbours, owner->system);
    for (size_t k = 0; k < KINDS; k++) {
        if (kinds[k] == owner->description->quantity && region->tables[k].common)
            return &region->tables[k];
    }
    return NULL;
}

static struct table_day day_of(const struct change_table *table, int64_t local_day) {
    if (!table || local_day < table->first_day || local_day >= table->next_day)
        return (struct table_day){NAN, NAN};
    return table->days[local_day - table->first_day];
}

struct common_change_day neighbours_on(const struct neighbours *neighbours, size_t point,
                                       int64_t local_day) {
    const struct change_table *table = table_for(neighbours, point);
    struct table_day day = day_of(table, local_day);
    return (struct common_change_day){(double)day.change, (double)day.standard_uncertainty,
                                      table ? table->houses : 0};
}

/* ---- what a series shares ---- */

static double mean_of(const double *values, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    return sum / (double)n;
}

/* The known changes in order, in `known`, which has room for n. */
static size_t keep_known(const double *changes, size_t n, double *known) {
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        if (isfinite(changes[i]))
            known[count++] = changes[i];
    }
    return count;
}

/* `shared` holds the changes of the region's days. */
static void find_share(const double *days, const double *values, double *shared, size_t n,
                       double *scratch, struct neighbours_part *part) {
    double usual = 0.0;
    size_t count = keep_known(shared, n, scratch);
    if (count < LEAST_DAYS || (double)count < least_known * (double)n)
        return;
    part->change = mean_of(scratch + count - WEEK_DAYS, WEEK_DAYS) - mean_of(scratch, FIRST_DAYS);
    statistics_median_in_place(scratch, count, &usual);
    for (size_t i = 0; i < n; i++)
        scratch[i] = values[i] > 0.0 ? log(values[i]) : NAN;
    part->known = common_change_respond(days, scratch, shared, n, &part->response);
    for (size_t i = 0; part->known && i < n; i++)
        shared[i] = part->response.factor * (shared[i] - usual);
}

bool neighbours_share(const struct neighbours *neighbours, size_t point, const double *days,
                      const double *values, size_t n, double *shared,
                      struct neighbours_part *part) {
    const struct change_table *table = table_for(neighbours, point);
    if (table && wears(table->quantity) && !table->line_known)
        table = NULL;
    *part = (struct neighbours_part){.houses = table ? table->houses : 0};
    double *scratch = malloc((n + 1) * sizeof *scratch);
    if (!scratch)
        return false;
    for (size_t i = 0; i < n; i++) {
        shared[i] = (double)day_of(table, (int64_t)floor(days[i])).change;
        if (table)
            shared[i] -= table->line_per_day * (days[i] - (double)table->first_day);
    }
    find_share(days, values, shared, n, scratch, part);
    for (size_t i = 0; !part->known && i < n; i++)
        shared[i] = NAN;
    free(scratch);
    return true;
}

/* ---- then and now ---- */

/* The region over a week; NaN: not known. Its days hang together: no less unsure than one of them.
 */
static struct common_change_day week_of(const struct neighbours *neighbours, size_t point,
                                        int64_t from_day) {
    struct common_change_day week = {0.0, 0.0, 0};
    double n = 0.0;
    for (int64_t d = from_day; d < from_day + WEEK_DAYS; d++) {
        struct common_change_day day = neighbours_on(neighbours, point, d);
        if (isnan(day.change))
            continue;
        week.change += day.change;
        week.standard_uncertainty += day.standard_uncertainty;
        n += 1.0;
    }
    return (struct common_change_day){week.change / n, week.standard_uncertainty / n, 0};
}

/* Median of the point's own logarithms over a week; NaN: fewer than three days. */
static double own_week(const struct change_table *table, const struct history *history,
                       size_t point, int64_t from_day) {
    struct history_day days[WEEK_DAYS];
    double logs[WEEK_DAYS], median = NAN;
    size_t n = 0;
    size_t count = history_days(history, point, from_day, from_day + WEEK_DAYS, days, WEEK_DAYS);
    for (size_t i = 0; count != HISTORY_FAILED && i < count; i++) {
        logs[n] = log_of(table->quantity, &days[i]);
        n += isfinite(logs[n]) ? 1 : 0;
    }
    return n >= 3 && statistics_median_in_place(logs, n, &median) == STATISTICS_OK ? median : NAN;
}

bool neighbours_compare(const struct neighbours *neighbours, const struct history *history,
                        size_t point, int64_t from_day, int64_t to_day, double now,
                        struct neighbours_comparison *comparison) {
    const struct change_table *table = table_for(neighbours, point);
    if (!table || !(now > 0.0))
        return false;
    from_day = from_day > table->first_day ? from_day : table->first_day;
    to_day = to_day < table->next_day ? to_day : table->next_day;
    while (from_day < to_day && isnan(day_of(table, from_day).change))
        from_day++;
    if (to_day - from_day < 2 * WEEK_DAYS)
        return false;
    struct common_change_day first = week_of(neighbours, point, from_day);
    struct common_change_day last = week_of(neighbours, point, to_day - WEEK_DAYS);
    *comparison = (struct neighbours_comparison){
        .houses = table->houses,
        .days = to_day - from_day,
        .own = log(now) - own_week(table, history, point, from_day),
        .theirs = last.change - first.change,
        .uncertainty = root_sum(first.standard_uncertainty, last.standard_uncertainty),
    };
    return isfinite(comparison->own) && isfinite(comparison->theirs);
}
