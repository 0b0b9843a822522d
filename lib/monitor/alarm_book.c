#include "monitor/alarm_book.h"

#include "measure/array.h"
#include "measure/duration.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Alarms stand in one array by their numbers, and for look-ups in a list per system (the last one
   is the fleet's and the daemon's), so that a whole region going silent stays linear. */
struct alarm_book {
    const struct fleet *fleet;
    struct alarm **alarms;
    struct alarm **heads;
    size_t count;
    int64_t highest_id;
    bool changed;
};

/* A sender whose clock runs minutes late and never pauses must not hide its alarms for good. */
static const int64_t longest_wait_ms = DURATION_MINUTE_MS;

struct alarm_book *alarm_book_create(const struct fleet *fleet) {
    struct alarm_book *book = calloc(1, sizeof *book);
    if (!book)
        return NULL;
    book->fleet = fleet;
    book->heads = calloc(fleet->system_count + 1, sizeof(struct alarm *));
    if (book->heads)
        return book;
    free(book);
    return NULL;
}

static struct alarm **head_of(const struct alarm_book *book, size_t system) {
    return &book->heads[system == FLEET_NONE ? book->fleet->system_count : system];
}

void alarm_book_destroy(struct alarm_book *book) {
    if (!book)
        return;
    for (size_t i = 0; i < book->count; i++) {
        alarm_clear(book->alarms[i]);
        free(book->alarms[i]);
    }
    free(book->alarms);
    free(book->heads);
    free(book);
}

/* Where a number is or belongs. */
static size_t place_of(const struct alarm_book *book, int64_t id) {
    size_t low = 0, high = book->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (book->alarms[middle]->id < id)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Room there is. */
static void insert(struct alarm_book *book, struct alarm *alarm) {
    size_t place = place_of(book, alarm->id); /* nearly always the end */
    memmove(book->alarms + place + 1, book->alarms + place,
            (book->count++ - place) * sizeof(struct alarm *));
    book->alarms[place] = alarm;
}

static struct alarm *add(struct alarm_book *book, const struct alarm *facts) {
    struct alarm **alarms = array_room(book->alarms, book->count, sizeof(struct alarm *));
    if (!alarms)
        return NULL;
    book->alarms = alarms;
    struct alarm *alarm = malloc(sizeof *alarm);
    if (!alarm)
        return NULL;
    *alarm = *facts;
    struct alarm **head = head_of(book, alarm->system);
    alarm->next_of_system = *head;
    *head = alarm;
    insert(book, alarm);
    return alarm;
}

bool alarm_book_load(struct alarm_book *book, const struct alarm *alarm) {
    alarm_book_number_from(book, alarm->id);
    return add(book, alarm) != NULL;
}

void alarm_book_number_from(struct alarm_book *book, int64_t highest_id) {
    if (highest_id > book->highest_id)
        book->highest_id = highest_id;
}

int64_t alarm_book_highest(const struct alarm_book *book) {
    return book->highest_id;
}

void alarm_book_touch(struct alarm_book *book, struct alarm *alarm) {
    alarm->changed = true;
    book->changed = true;
}

static bool same_place(const struct alarm *alarm, size_t system, size_t point,
                       enum condition condition) {
    return alarm->condition == condition && alarm->system == system && alarm->point == point;
}

struct alarm *alarm_book_standing(const struct alarm_book *book, size_t system, size_t point,
                                  enum condition condition) {
    for (struct alarm *alarm = *head_of(book, system); alarm; alarm = alarm->next_of_system) {
        if (same_place(alarm, system, point, condition) && alarm_stands(alarm))
            return alarm;
    }
    return NULL;
}

/* ---- suppression by design ---- */

static bool same_quantity(const struct fleet *fleet, size_t a, size_t b) {
    return a != FLEET_NONE && b != FLEET_NONE &&
           fleet->points[a].description->quantity == fleet->points[b].description->quantity;
}

/* A riser explains what it did to the whole house, not what another riser does. */
static bool same_branch(const struct fleet *fleet, const struct alarm *cause,
                        const struct alarm *effect) {
    size_t one = fleet_branch_at(fleet, cause->system, cause->point, cause->condition);
    size_t other = fleet_branch_at(fleet, effect->system, effect->point, effect->condition);
    return one == other || one == BRANCH_NONE || other == BRANCH_NONE;
}

/* Within a quantity only the same point explains: two monitors, or two gauges of one riser. */
static bool explains(const struct fleet *fleet, const struct alarm *cause,
                     const struct alarm *effect) {
    const struct condition_info *info = condition_info(cause->condition);
    if (cause == effect || !alarm_stands(cause) || !(info->suppresses >> effect->condition & 1U))
        return false;
    if (info->scope == SCOPE_FLEET)
        return true;
    if (cause->system != effect->system)
        return false;
    return same_branch(fleet, cause, effect) &&
           (!same_quantity(fleet, cause->point, effect->point) || cause->point == effect->point);
}

const struct alarm *alarm_book_cause(const struct alarm_book *book, const struct alarm *effect) {
    const size_t places[] = {effect->system, FLEET_NONE};
    const struct alarm *found = NULL;
    for (size_t i = effect->system == FLEET_NONE; i < 2; i++) {
        for (const struct alarm *cause = *head_of(book, places[i]); cause;
             cause = cause->next_of_system) {
            if (!explains(book->fleet, cause, effect))
                continue;
            if (!cause->suppressed)
                return cause;
            found = cause;
        }
    }
    return found;
}

static bool explained(const struct alarm_book *book, const struct alarm *effect) {
    return alarm_book_cause(book, effect) != NULL;
}

static int64_t hold_ms(const struct alarm_book *book, const struct alarm *cause,
                       const struct alarm *alarm) {
    if (alarm->condition == CONDITION_SENSOR_SILENT)
        return fleet_sensor_silent_after_ms(book->fleet, alarm->point);
    if (condition_info(cause->condition)->scope == SCOPE_FLEET)
        return 15 * DURATION_MINUTE_MS; /* a region comes back house by house */
    if (alarm->point == FLEET_NONE)
        return DURATION_MINUTE_MS;
    return DURATION_MINUTE_MS + 2 * book->fleet->points[alarm->point].description->every_ms;
}

static void review_one(struct alarm_book *book, const struct alarm *cause, struct alarm *alarm,
                       int64_t at_ms) {
    bool now = alarm_stands(alarm) && explained(book, alarm);
    if (!alarm_stands(alarm) || now == alarm->suppressed)
        return;
    alarm->suppressed = now;
    if (!now)
        alarm->hold_until_ms = at_ms + hold_ms(book, cause, alarm);
    alarm_book_touch(book, alarm);
}

/* After a cause came or went. What a returned cause had explained gets two intervals to follow it
   before people are told. */
static void review_suppression(struct alarm_book *book, const struct alarm *cause, int64_t at_ms) {
    const struct condition_info *info = condition_info(cause->condition);
    if (info->suppresses == 0)
        return;
    if (info->scope == SCOPE_FLEET) {
        for (size_t i = 0; i < book->count; i++)
            review_one(book, cause, book->alarms[i], at_ms);
        return;
    }
    for (struct alarm *alarm = *head_of(book, cause->system); alarm; alarm = alarm->next_of_system)
        review_one(book, cause, alarm, at_ms);
}

void alarm_book_loaded(struct alarm_book *book) {
    for (size_t i = 0; i < book->count; i++) {
        struct alarm *alarm = book->alarms[i];
        alarm->suppressed = alarm_stands(alarm) && explained(book, alarm);
    }
}

/* ---- raise and return ---- */

static void supersede(struct alarm_book *book, const struct alarm *facts) {
    for (struct alarm *old = *head_of(book, facts->system); old; old = old->next_of_system) {
        if (same_place(old, facts->system, facts->point, facts->condition) && !alarm_stands(old)) {
            old->history = true;
            old->shelved.until_ms = TIMESTAMP_NONE;
            alarm_book_touch(book, old);
        }
    }
}

static struct alarm *open_alarm(struct alarm_book *book, const struct alarm *facts) {
    struct alarm numbered = *facts;
    numbered.id = book->highest_id + 1;
    struct alarm *alarm = add(book, &numbered);
    if (!alarm)
        return NULL;
    book->highest_id = alarm->id;
    alarm->returned_ms = TIMESTAMP_NONE;
    alarm->acknowledged.time_ms = TIMESTAMP_NONE;
    alarm->shelved.until_ms = TIMESTAMP_NONE;
    alarm->reminded_ms = TIMESTAMP_NONE;
    alarm->escalated_ms = TIMESTAMP_NONE;
    alarm->returned_value = NAN;
    alarm->hold_until_ms = INT64_MIN;
    alarm->waits_since_ms = TIMESTAMP_NONE;
    alarm_book_touch(book, alarm);
    return alarm;
}

struct alarm *alarm_book_raise(struct alarm_book *book, const struct alarm *facts) {
    struct alarm *standing =
        alarm_book_standing(book, facts->system, facts->point, facts->condition);
    if (standing) {
        free(facts->subject);
        return standing;
    }
    supersede(book, facts);
    struct alarm *alarm = open_alarm(book, facts);
    if (!alarm) {
        free(facts->subject);
        return NULL;
    }
    alarm->suppressed = explained(book, alarm);
    review_suppression(book, alarm, alarm->raised_ms);
    return alarm;
}

static void end(struct alarm_book *book, struct alarm *alarm, int64_t at_ms) {
    alarm->returned_ms = at_ms;
    alarm->history = !alarm->told;
    alarm_book_touch(book, alarm);
    review_suppression(book, alarm, at_ms);
}

void alarm_book_return(struct alarm_book *book, size_t system, size_t point,
                       enum condition condition, int64_t at_ms) {
    struct alarm *alarm = alarm_book_standing(book, system, point, condition);
    if (alarm)
        end(book, alarm, at_ms);
}

static bool add_note(struct alarm *alarm, const char *text) {
    char *note = NULL;
    if (asprintf(&note, "%s%s%s", alarm->acknowledged.note ? alarm->acknowledged.note : "",
                 alarm->acknowledged.note ? "; " : "", text) < 0)
        return false;
    free(alarm->acknowledged.note);
    alarm->acknowledged.note = note;
    return true;
}

bool alarm_book_unwatch(struct alarm_book *book, struct alarm *alarm, int64_t now_ms) {
    if (!add_note(alarm, "the settings no longer watch for it"))
        return false;
    alarm->shelved.until_ms = TIMESTAMP_NONE;
    alarm->unwatched = true;
    alarm_book_touch(book, alarm);
    if (alarm_stands(alarm))
        end(book, alarm, now_ms);
    return true;
}

bool alarm_book_history(struct alarm_book *book, const struct alarm *facts, int64_t returned_ms) {
    struct alarm *alarm = open_alarm(book, facts);
    if (!alarm)
        return false;
    alarm->returned_ms = returned_ms;
    alarm->history = true;
    return true;
}

static void place_anew(struct alarm *alarm, const struct fleet_change *change) {
    if (alarm->system == FLEET_NONE)
        return;
    alarm->system = change->systems_are[alarm->system];
    assert(alarm->system != FLEET_NONE);
    if (alarm->point == FLEET_NONE)
        return;
    alarm->point = change->points_are[alarm->point];
    assert(alarm->point != FLEET_NONE);
}

bool alarm_book_reserve(struct alarm_book *book, size_t more) {
    struct alarm **alarms = array_reserve(book->alarms, book->count + more, sizeof(struct alarm *));
    book->alarms = alarms ? alarms : book->alarms;
    return alarms != NULL;
}

void alarm_book_take_over(struct alarm_book *book, struct alarm_book *former,
                          const struct fleet_change *change) {
    const struct alarm_book loaded = *book;
    *book = *former;
    book->fleet = loaded.fleet;
    book->heads = loaded.heads;
    for (size_t i = 0; i < book->count; i++) {
        struct alarm *alarm = book->alarms[i];
        place_anew(alarm, change);
        alarm->next_of_system = *head_of(book, alarm->system);
        *head_of(book, alarm->system) = alarm;
    }
    for (size_t i = 0; i < loaded.count; i++)
        insert(book, loaded.alarms[i]);
    alarm_book_number_from(book, loaded.highest_id);
    free(loaded.alarms);
    former->alarms = NULL;
    former->count = 0;
}

struct alarm *alarm_book_find(const struct alarm_book *book, int64_t id) {
    size_t place = place_of(book, id);
    return place < book->count && book->alarms[place]->id == id ? book->alarms[place] : NULL;
}

size_t alarm_book_count(const struct alarm_book *book) {
    return book->count;
}

const struct alarm *alarm_book_at(const struct alarm_book *book, size_t i) {
    return book->alarms[i];
}

struct alarm *alarm_book_get(struct alarm_book *book, size_t i) {
    return book->alarms[i];
}

const struct alarm *alarm_book_of_system(const struct alarm_book *book, size_t system) {
    return *head_of(book, system);
}

/* ---- what people do ---- */

static bool copy_text(char **to, const char *from) {
    char *copy = from ? strdup(from) : NULL;
    if (from && !copy)
        return false;
    free(*to);
    *to = copy;
    return true;
}

bool alarm_book_acknowledge(struct alarm_book *book, struct alarm *alarm, const char *by,
                            const char *note, int64_t now_ms) {
    if (!copy_text(&alarm->acknowledged.by, by) || !copy_text(&alarm->acknowledged.note, note))
        return false;
    alarm->acknowledged.time_ms = now_ms;
    alarm_book_touch(book, alarm);
    return true;
}

bool alarm_book_shelve(struct alarm_book *book, struct alarm *alarm, int64_t until_ms,
                       const char *by, const char *why) {
    if (!copy_text(&alarm->shelved.by, by) || !copy_text(&alarm->shelved.why, why))
        return false;
    alarm->shelved.until_ms = until_ms;
    alarm_book_touch(book, alarm);
    return true;
}

void alarm_book_unshelve(struct alarm_book *book, struct alarm *alarm) {
    alarm->shelved.until_ms = TIMESTAMP_NONE;
    if (alarm_stands(alarm)) {
        alarm->acknowledged.time_ms = TIMESTAMP_NONE;
        alarm->told = false;
    } else {
        alarm->history = true;
    }
    alarm_book_touch(book, alarm);
}

void alarm_book_set_out_of_service(struct alarm_book *book, size_t system, bool out) {
    for (struct alarm *alarm = *head_of(book, system); alarm; alarm = alarm->next_of_system) {
        if (alarm->out_of_service == out)
            continue;
        alarm->out_of_service = out;
        alarm_book_touch(book, alarm);
    }
}

int64_t alarm_book_expire(struct alarm_book *book, int64_t now_ms) {
    int64_t next_ms = INT64_MAX;
    for (size_t i = 0; i < book->count; i++) {
        struct alarm *alarm = book->alarms[i];
        if (alarm->shelved.until_ms == TIMESTAMP_NONE)
            continue;
        if (alarm->shelved.until_ms <= now_ms)
            alarm_book_unshelve(book, alarm);
        else if (alarm->shelved.until_ms < next_ms)
            next_ms = alarm->shelved.until_ms;
    }
    return next_ms;
}

/* ---- telling and writing ---- */

static bool tell_one(struct alarm_book *book, struct alarm *alarm, int64_t now_ms,
                     const struct alarm_book_listener *listener) {
    if (!alarm_stands(alarm)) {
        if (alarm->told && !alarm->return_told && !alarm->history) {
            alarm->return_told = true;
            alarm_book_touch(book, alarm);
            listener->tell(listener->context, alarm, ALARM_NOTICE_RETURNED);
        }
        return false;
    }
    /* Whoever acknowledged it knows; a first message after that would only confuse. */
    if (alarm->told || alarm->acknowledged.time_ms != TIMESTAMP_NONE || !alarm_annunciates(alarm))
        return false;
    if (alarm->hold_until_ms > now_ms)
        return true;
    if (alarm->waits_since_ms == TIMESTAMP_NONE)
        alarm->waits_since_ms = now_ms;
    if (!listener->ready(listener->context, alarm) &&
        now_ms - alarm->waits_since_ms < longest_wait_ms)
        return true;
    alarm->told = true;
    alarm->next_reminder_ms = 0;
    alarm_book_touch(book, alarm);
    listener->tell(listener->context, alarm, ALARM_NOTICE_RAISED);
    return false;
}

bool alarm_book_tell(struct alarm_book *book, int64_t now_ms,
                     const struct alarm_book_listener *listener) {
    bool waits = false;
    for (size_t i = 0; i < book->count; i++)
        waits |= tell_one(book, book->alarms[i], now_ms, listener);
    return waits;
}

static void forget(struct alarm_book *book, struct alarm *alarm) {
    struct alarm **place = head_of(book, alarm->system);
    while (*place != alarm)
        place = &(*place)->next_of_system;
    *place = alarm->next_of_system;
    alarm_clear(alarm);
    free(alarm);
}

bool alarm_book_changed(const struct alarm_book *book) {
    return book->changed;
}

bool alarm_book_flush(struct alarm_book *book,
                      bool (*put)(void *context, const struct alarm *alarm), void *context) {
    if (!book->changed)
        return true;
    size_t kept = 0;
    for (size_t i = 0; i < book->count; i++)
        if (book->alarms[i]->changed && !put(context, book->alarms[i]))
            return false;
    for (size_t i = 0; i < book->count; i++) {
        struct alarm *alarm = book->alarms[i];
        alarm->changed = false;
        if (alarm_open(alarm))
            book->alarms[kept++] = alarm;
        else
            forget(book, alarm);
    }
    book->count = kept;
    book->changed = false;
    return true;
}
