#include "upkeep/upkeep.h"

#include "measure/duration.h"
#include "upkeep/daily_upkeep.h"
#include "upkeep/reminders.h"

#include <stdlib.h>

enum { EXPIRE_STEP = 2000, PACK_STEP = 16384, PLACE_STEP = 2048, MESSAGES_STEP = 200 };
static const int64_t keep_messages_ms = 90 * DURATION_DAY_MS;
static const int64_t soon_ms = 2 * DURATION_SECOND_MS;
static const int64_t large_wal_bytes = INT64_C(64) << 20;

struct upkeep {
    struct daily_upkeep *daily;
    struct reminders reminders;
    bool asked;        /* since the last step */
    bool told_kept;    /* the store knows which houses keep their readings longer */
    int64_t placed_ms; /* when all gathered readings last went, or began to go, into their places */
};

struct upkeep *upkeep_open(const struct fleet *fleet) {
    struct upkeep *upkeep = calloc(1, sizeof *upkeep);
    if (upkeep)
        upkeep->daily = daily_upkeep_create(fleet);
    if (upkeep && upkeep->daily)
        return upkeep;
    upkeep_close(upkeep);
    return NULL;
}

void upkeep_close(struct upkeep *upkeep) {
    if (!upkeep)
        return;
    daily_upkeep_destroy(upkeep->daily);
    free(upkeep);
}

void upkeep_take_over(struct upkeep *upkeep, struct upkeep *former,
                      const struct fleet_change *change) {
    daily_upkeep_take_over(upkeep->daily, former->daily, change);
    upkeep->reminders = former->reminders;
}

struct daily_upkeep *upkeep_daily(struct upkeep *upkeep) {
    return upkeep->daily;
}

void upkeep_history_came(struct upkeep *upkeep, int64_t now_ms) {
    /* While more comes a look each soon_ms is enough: it goes over the whole fleet. */
    upkeep->asked |= !daily_upkeep_history_comes(upkeep->daily, now_ms);
    daily_upkeep_history_came(upkeep->daily, now_ms);
}

bool upkeep_asked(const struct upkeep *upkeep) {
    return upkeep->asked;
}

static int compare_keys(const void *one, const void *other) {
    const struct series_longer *a = one, *b = other;
    return (a->key > b->key) - (a->key < b->key);
}

/* Houses that keep their readings longer than the fleet does. */
static enum store_status tell_kept(struct pipeline *pipeline) {
    const struct fleet *fleet = monitor_fleet(pipeline_monitor(pipeline));
    struct series_longer *longer = calloc(fleet->point_count + 1, sizeof *longer);
    size_t count = 0;
    if (!longer)
        return STORE_OUT_OF_MEMORY;
    for (size_t i = 0; i < fleet->point_count; i++) {
        int64_t more_ms =
            fleet->points[i].description->binding.keep_ms - fleet->settings->keep_readings_ms;
        if (more_ms > 0)
            longer[count++] = (struct series_longer){pipeline_key(pipeline, i), more_ms};
    }
    qsort(longer, count, sizeof *longer, compare_keys);
    enum store_status status = series_keep_longer(pipeline_store(pipeline), longer, count);
    free(longer);
    return status;
}

/* Retention: a few thousand rows a step, so that no turn is long. */
static bool expire(struct upkeep *upkeep, struct pipeline *pipeline, int64_t now_ms) {
    const struct settings *settings = monitor_fleet(pipeline_monitor(pipeline))->settings;
    int64_t from_ms = pipeline_keep_from_ms(pipeline, now_ms);
    int readings = 0, messages = 0;
    if (from_ms == TIMESTAMP_NONE || !pipeline_begin_task(pipeline, "retention"))
        return false;
    if (!upkeep->told_kept && tell_kept(pipeline) != STORE_OK)
        return false; /* rather later than too much */
    upkeep->told_kept = true;
    /* To the hour: it rests in between. */
    int64_t before_ms =
        (from_ms - settings->keep_readings_ms) / DURATION_HOUR_MS * DURATION_HOUR_MS;
    enum store_status status =
        series_expire(pipeline_store(pipeline), before_ms, EXPIRE_STEP, &readings);
    THEN(status, outbox_expire(pipeline_store(pipeline), from_ms - keep_messages_ms, MESSAGES_STEP,
                               &messages));
    pipeline_note(pipeline, status);
    return readings > 0 || messages == MESSAGES_STEP;
}

/* What a backlog brought goes into its place: when it is over, and once a minute while it is not.
 */
static bool place(struct upkeep *upkeep, struct pipeline *pipeline, int64_t now_ms) {
    if (upkeep->placed_ms == 0)
        upkeep->placed_ms = now_ms;
    bool more, all = llabs(now_ms - upkeep->placed_ms) >= DURATION_MINUTE_MS;
    pipeline_note(pipeline, series_place(pipeline_store(pipeline), PLACE_STEP, all, &more));
    if (all)
        upkeep->placed_ms = now_ms;
    return more;
}

/* Closed days go from rows into packs, a hundred of them a step; a day of PACK_STEP readings, one
   each 5.3 s, is still one pack. */
static bool pack(struct pipeline *pipeline, int64_t now_ms) {
    int packed = 0;
    if (!pipeline_begin_task(pipeline, "packing"))
        return false;
    pipeline_note(pipeline, series_pack(pipeline_store(pipeline), pipeline_pack_before_ms(now_ms),
                                        PACK_STEP, &packed));
    return packed > 0;
}

int64_t upkeep_step(struct upkeep *upkeep, struct pipeline *pipeline, int64_t now_ms, bool busy) {
    int64_t file_bytes = 0, wal_bytes = 0;
    upkeep->asked = false;
    if (busy)
        return now_ms + DURATION_SECOND_MS;
    if (place(upkeep, pipeline, now_ms))
        return now_ms;
    store_size(pipeline_store(pipeline), &file_bytes, &wal_bytes);
    if (wal_bytes > large_wal_bytes && !pipeline_uncommitted(pipeline))
        store_checkpoint(pipeline_store(pipeline));
    bool days_due = daily_upkeep_step(upkeep->daily, pipeline, now_ms);
    int64_t next_ms = reminders_step(&upkeep->reminders, pipeline, now_ms);
    /* The day that an import has come to would be packed once for each of its parts. */
    bool history_comes = daily_upkeep_history_comes(upkeep->daily, now_ms);
    /* While days are judged each step would look over the fleet for what can be packed. */
    bool more = !history_comes && !days_due && pack(pipeline, now_ms);
    /* Daily values are kept for good: they are made before their readings go. */
    if (!days_due && !history_comes && !daily_upkeep_waits(upkeep->daily))
        more = expire(upkeep, pipeline, now_ms) || more;
    if (more || days_due)
        return now_ms;
    bool waits = history_comes || daily_upkeep_waits(upkeep->daily);
    int64_t most_ms = waits ? soon_ms : DURATION_MINUTE_MS;
    return next_ms < now_ms + most_ms ? next_ms : now_ms + most_ms;
}
