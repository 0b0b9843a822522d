#include "measure/timestamp.h"
#include "scenario_play.h"

#include <fnmatch.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_MOST = 2000 };

/* ---- alarms of the store ---- */

struct occurrence {
    char point[80], state[40];
    int64_t since_ms, raised_ms, returned_ms;
    bool told, open;
};

struct occurrences {
    struct occurrence items[200];
    size_t count;
};

static bool add_occurrence(void *context, const struct record_alarm *alarm) {
    struct occurrences *list = context;
    if (list->count == sizeof list->items / sizeof list->items[0])
        return false;
    struct occurrence *one = &list->items[list->count++];
    *one = (struct occurrence){.since_ms = alarm->since_ms,
                               .raised_ms = alarm->raised_ms,
                               .returned_ms = alarm->returned_ms,
                               .told = alarm->told,
                               .open = alarm->open};
    snprintf(one->point, sizeof one->point, "%s", alarm->point);
    snprintf(one->state, sizeof one->state, "%s", alarm->state);
    return true;
}

struct place {
    char system[80], point[80], condition[60];
};

/* SYSTEM[/POINT] CONDITION; the fleet and the daemon have no system. */
static struct place read_place(struct play *play) {
    struct place place = {.point = ""};
    const char *word = script_word(&play->script, "the system");
    const char *slash = strchr(word, '/');
    int length = slash ? (int)(slash - word) : (int)strlen(word);
    if (strcmp(word, "fleet") != 0 && strcmp(word, "daemon") != 0)
        snprintf(place.system, sizeof place.system, "%.*s", length, word);
    snprintf(place.point, sizeof place.point, "%s", slash ? slash + 1 : "");
    snprintf(place.condition, sizeof place.condition, "%s",
             script_word(&play->script, "the condition"));
    return place;
}

static void find_occurrences(struct play *play, const struct place *place,
                             struct occurrences *found) {
    const struct record_alarm_filter filter = {.system = place->system,
                                               .point = *place->point ? place->point : NULL,
                                               .condition = place->condition,
                                               .since_ms = TIMESTAMP_NONE};
    found->count = 0;
    world_settle(&play->world);
    if (record_alarm_list(play->world.store, &filter, add_occurrence, found) != STORE_OK)
        script_fail(&play->script, "alarms cannot be read: %s", store_error(play->world.store));
}

static void write_time(FILE *stream, const char *word, int64_t time_ms) {
    char text[40];
    if (time_ms != TIMESTAMP_NONE)
        fprintf(stream, " %s %s", word, timestamp_format(text, sizeof text, time_ms));
}

static char *describe(const struct occurrences *found) {
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    for (size_t i = 0; i < found->count; i++) {
        const struct occurrence *one = &found->items[i];
        fprintf(stream, "\n    %s", *one->point ? one->point : "-");
        write_time(stream, "since", one->since_ms);
        write_time(stream, "raised", one->raised_ms);
        write_time(stream, "returned", one->returned_ms);
        fprintf(stream, " %s, %s", one->told ? "told" : "not told", one->state);
    }
    fprintf(stream, "%s", found->count ? "" : " none at all");
    fclose(stream);
    return text;
}

static void not_found(struct play *play, const struct occurrences *found, const char *what) {
    script_fail(&play->script, "%s; there is:%s", what, describe(found));
}

/* expect raised|returned SYSTEM[/POINT] CONDITION at TIME [since TIME] [told|not told] */
static void expect_instant(struct play *play, bool returned) {
    struct script *script = &play->script;
    struct place place = read_place(play);
    struct occurrences found;
    if (!script_accept(script, "at"))
        script_fail(script, "at TIME is missing");
    int64_t at_ms = script_time(script, "the instant"), since_ms = TIMESTAMP_NONE;
    if (script_accept(script, "since"))
        since_ms = script_time(script, "its beginning");
    bool not_told = script_accept(script, "not"), told = script_accept(script, "told");
    find_occurrences(play, &place, &found);
    for (size_t i = 0; i < found.count; i++) {
        const struct occurrence *one = &found.items[i];
        if ((returned ? one->returned_ms : one->raised_ms) == at_ms &&
            (since_ms == TIMESTAMP_NONE || one->since_ms == since_ms) &&
            (!told || one->told != not_told))
            return;
    }
    not_found(play, &found, "no such occurrence");
}

/* expect state SYSTEM[/POINT] CONDITION WORD…: of the newest; `none` when nothing is open */
static void expect_state(struct play *play) {
    struct place place = read_place(play);
    struct occurrences found;
    char *wanted = script_rest(&play->script);
    const char *state = "none";
    find_occurrences(play, &place, &found);
    for (size_t i = 0; i < found.count; i++) {
        if (found.items[i].open)
            state = found.items[i].state;
    }
    if (strcmp(state, wanted) != 0)
        not_found(play, &found, "another state");
    free(wanted);
}

/* expect N occurrences SYSTEM[/POINT] CONDITION */
static void expect_occurrences(struct play *play, size_t wanted) {
    struct place place = read_place(play);
    struct occurrences found;
    find_occurrences(play, &place, &found);
    if (found.count != wanted)
        not_found(play, &found, "another number of occurrences");
}

/* expect status SYSTEM WORD… */
static void expect_status(struct play *play) {
    char path[200];
    snprintf(path, sizeof path, "/api/systems/%s", script_word(&play->script, "the system"));
    char *wanted = script_rest(&play->script);
    char *text = world_operate(&play->world, "GET", path, NULL, 200);
    json_t *shown = json_loads(text, 0, NULL);
    const char *status = json_string_value(json_object_get(shown, "status"));
    if (!status || strcmp(status, wanted) != 0)
        script_fail(&play->script, "the status is %s", status ? status : "missing");
    json_decref(shown);
    free(text);
    free(wanted);
}

/* ---- messages ---- */

static bool keep_condition(void *context, const struct record_alarm *alarm) {
    snprintf(context, 60, "%s", alarm->condition);
    return false;
}

struct letters {
    struct outbox_message *rows[ROWS_MOST];
    size_t count;
};

/* Oldest first, only those not looked at yet. */
static void read_letters(struct play *play, struct letters *letters) {
    size_t all = 0;
    letters->count = 0;
    world_settle(&play->world);
    if (outbox_list(play->world.store, false, 0, letters->rows, ROWS_MOST, &all) != STORE_OK)
        script_fail(&play->script, "messages cannot be read: %s", store_error(play->world.store));
    for (size_t i = 0; i < all; i++) {
        if (letters->rows[i]->row > play->seen_row)
            letters->rows[letters->count++] = letters->rows[i];
        else
            outbox_message_free(letters->rows[i]);
    }
}

static void free_letters(struct letters *letters) {
    for (size_t i = 0; i < letters->count; i++)
        outbox_message_free(letters->rows[i]);
}

int64_t play_newest_row(struct play *play) {
    struct outbox_message *newest[1];
    size_t count = 0;
    world_settle(&play->world);
    if (outbox_list(play->world.store, false, 0, newest, 1, &count) != STORE_OK || count == 0)
        return 0;
    int64_t row = newest[0]->row;
    outbox_message_free(newest[0]);
    return row;
}

static void condition_of(struct play *play, const struct outbox_message *row, char condition[60]) {
    snprintf(condition, 60, "-");
    if (row->alarm)
        record_alarm_get(play->world.store, row->alarm, keep_condition, condition);
}

static const char *kind_of(const struct outbox_message *row) {
    const char *dot = strrchr(row->type, '.');
    return dot ? dot + 1 : row->type;
}

static char *describe_letters(struct play *play, const struct letters *letters) {
    char *text = NULL, condition[60];
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    for (size_t i = 0; i < letters->count; i++) {
        const struct outbox_message *row = letters->rows[i];
        condition_of(play, row, condition);
        fprintf(stream, "\n    %s %s %s %s", row->contact, kind_of(row),
                *row->system ? row->system : "(fleet)", condition);
        if (getenv("SCENARIO_TEXTS"))
            fprintf(stream, "\n%s", row->body);
    }
    fprintf(stream, "%s", letters->count ? "" : " none at all");
    fclose(stream);
    return text;
}

/* expect message CONTACT KIND SYSTEM|fleet|daemon CONDITION ["words in it"]: exactly one, and when
   the clock has not moved on it is in the outbox already */
static void expect_message(struct play *play) {
    struct letters letters;
    char contact[80], kind[40], condition[60];
    snprintf(contact, sizeof contact, "%s", script_word(&play->script, "the contact"));
    snprintf(kind, sizeof kind, "%s", script_word(&play->script, "raised, returned, …"));
    struct place place = read_place(play);
    const char *words = script_more(&play->script) ? script_word(&play->script, "words in it") : "";
    size_t matches = 0;
    read_letters(play, &letters);
    for (size_t i = 0; i < letters.count; i++) {
        const struct outbox_message *row = letters.rows[i];
        condition_of(play, row, condition);
        matches += strcmp(row->contact, contact) == 0 && strcmp(kind_of(row), kind) == 0 &&
                   strcmp(row->system, place.system) == 0 &&
                   strcmp(condition, place.condition) == 0 && strstr(row->body, words) != NULL;
    }
    if (matches != 1)
        script_fail(&play->script, "%zu such messages; there are:%s", matches,
                    describe_letters(play, &letters));
    free_letters(&letters);
}

/* expect N messages [to CONTACT] [about CONDITION] */
static void expect_messages(struct play *play, size_t wanted) {
    struct script *script = &play->script;
    struct letters letters;
    const char *contact = script_accept(script, "to") ? script_word(script, "the contact") : "*";
    const char *about = script_accept(script, "about") ? script_word(script, "the condition") : "*";
    char condition[60];
    size_t count = 0;
    read_letters(play, &letters);
    for (size_t i = 0; i < letters.count; i++) {
        condition_of(play, letters.rows[i], condition);
        count +=
            fnmatch(contact, letters.rows[i]->contact, 0) == 0 && fnmatch(about, condition, 0) == 0;
    }
    if (count != wanted)
        script_fail(script, "%zu messages; there are:%s", count, describe_letters(play, &letters));
    free_letters(&letters);
}

/* ---- refusals and readings ---- */

struct counted {
    const char *topic, *reason;
    int64_t count;
};

static bool add_count(void *context, const struct record_refused *row) {
    struct counted *counted = context;
    if (strcmp(row->topic, counted->topic) == 0 && strcmp(row->reason, counted->reason) == 0)
        counted->count += row->count;
    return true;
}

/* expect refused TOPIC REASON N */
static void expect_refused(struct play *play) {
    struct counted counted = {.topic = script_word(&play->script, "the topic")};
    counted.reason = script_word(&play->script, "the reason");
    int64_t wanted = (int64_t)script_number(&play->script, "how many");
    record_refused_list(play->world.store, add_count, &counted);
    if (counted.count != wanted)
        script_fail(&play->script, "refused %lld times", (long long)counted.count);
}

static void expect_unclaimed(struct play *play) {
    struct counted counted = {.topic = script_word(&play->script, "the topic"), .reason = ""};
    int64_t wanted = (int64_t)script_number(&play->script, "how many");
    record_unclaimed_list(play->world.store, add_count, &counted);
    if (counted.count != wanted)
        script_fail(&play->script, "counted %lld times", (long long)counted.count);
}

static size_t read_series(struct play *play, int64_t key, struct reading **readings) {
    enum { MOST = 200000 };
    size_t count = 0;
    *readings = malloc(MOST * sizeof **readings);
    if (!*readings || series_read(play->world.store, key, INT64_MIN, INT64_MAX, *readings, MOST,
                                  &count) != STORE_OK)
        script_fail(&play->script, "readings cannot be read");
    return count;
}

/* expect N readings SYSTEM/POINT */
static void expect_readings(struct play *play, size_t wanted) {
    char system[80];
    const char *name = script_word(&play->script, "SYSTEM/POINT"), *slash = strchr(name, '/');
    int64_t key = 0;
    struct reading *readings = NULL;
    snprintf(system, sizeof system, "%.*s", (int)strcspn(name, "/"), name);
    if (!slash || series_find(play->world.store, system, slash + 1, &key) != STORE_OK)
        script_fail(&play->script, "there is no point \"%s\"", name);
    size_t count = read_series(play, key, &readings);
    free(readings);
    if (count != wanted)
        script_fail(&play->script, "%zu readings", count);
}

/* ---- the outcome ---- */

static bool write_alarm(void *context, const struct record_alarm *alarm) {
    FILE *stream = context;
    if (!*alarm->system)
        return true; /* of the outage itself */
    fprintf(stream, "%s/%s %s", alarm->system, alarm->point, alarm->condition);
    write_time(stream, "since", alarm->since_ms);
    write_time(stream, "raised", alarm->raised_ms);
    write_time(stream, "returned", alarm->returned_ms);
    fprintf(stream, "\n");
    return true;
}

static int by_text(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Numbers of alarms may differ: sort the lines. */
static char *sort_lines(char *text) {
    size_t count = 0, capacity = 16, size = 0;
    char **lines = malloc(capacity * sizeof *lines), *sorted = NULL, *save = NULL;
    for (char *line = strtok_r(text, "\n", &save); line && lines;
         line = strtok_r(NULL, "\n", &save)) {
        if (count == capacity)
            lines = realloc(lines, (capacity *= 2) * sizeof *lines);
        lines[count++] = line;
    }
    if (count)
        qsort(lines, count, sizeof *lines, by_text);
    FILE *stream = open_memstream(&sorted, &size);
    for (size_t i = 0; i < count; i++)
        fprintf(stream, "%s\n", lines[i]);
    fclose(stream);
    free(lines);
    free(text);
    return sorted;
}

static void write_series(struct play *play, FILE *stream, size_t point) {
    enum { HOURS_MOST = 10000 };
    int64_t key = pipeline_key(play->world.pipeline, point);
    struct reading *readings = NULL;
    struct series_hour *hours = calloc(HOURS_MOST, sizeof *hours);
    size_t count = read_series(play, key, &readings), hour_count = 0;
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
        sum += readings[i].value;
    fprintf(stream, "point %zu: %zu readings, sum %.6f\n", point, count, sum);
    if (!hours || series_hours(play->world.store, key, INT64_MIN, INT64_MAX, hours, HOURS_MOST,
                               &hour_count) != STORE_OK)
        script_fail(&play->script, "hourly values cannot be read");
    for (size_t i = 0; i < hour_count; i++)
        fprintf(stream, "point %zu: hour %lld: %lld readings, %.6g\n", point,
                (long long)hours[i].hour_ms, (long long)hours[i].count, hours[i].value_ms);
    free(readings);
    free(hours);
}

char *play_outcome(struct play *play) {
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    const struct record_alarm_filter all = {.since_ms = TIMESTAMP_NONE};
    world_settle(&play->world);
    record_alarm_list(play->world.store, &all, write_alarm, stream);
    for (size_t i = 0; i < play->world.fleet->point_count; i++)
        write_series(play, stream, i);
    fclose(stream);
    return sort_lines(text);
}

/* ---- the command ---- */

static void expect_number(struct play *play, size_t number) {
    struct script *script = &play->script;
    if (script_accept(script, "messages") || script_accept(script, "message"))
        expect_messages(play, number);
    else if (script_accept(script, "occurrences") || script_accept(script, "occurrence"))
        expect_occurrences(play, number);
    else if (script_accept(script, "readings"))
        expect_readings(play, number);
    else
        script_fail(script, "after a number comes messages, occurrences or readings");
}

void play_expect(struct play *play) {
    struct script *script = &play->script;
    if (!world_runs(&play->world))
        script_fail(script, "the daemon is stopped");
    if (script_accept(script, "raised"))
        expect_instant(play, false);
    else if (script_accept(script, "returned"))
        expect_instant(play, true);
    else if (script_accept(script, "state"))
        expect_state(play);
    else if (script_accept(script, "status"))
        expect_status(play);
    else if (script_accept(script, "message"))
        expect_message(play);
    else if (script_accept(script, "refused"))
        expect_refused(play);
    else if (script_accept(script, "unclaimed"))
        expect_unclaimed(play);
    else if (script_accept(script, "no"))
        expect_number(play, 0);
    else
        expect_number(play, (size_t)script_number(script, "what is expected"));
}
