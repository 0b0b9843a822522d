/*
 * A new house, asked for at the terminal: which of the unclaimed topics are its own, what each is,
 * and what is to be known of the house. Each answer may be left at what stands in brackets.
 */
#include "settings/checked_text.h"
#include "settings/system_file.h"
#include "tool/ctl_client.h"
#include "tool/enrol.h"
#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"
#include "tool/words.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { VALUES_MOST = 1000, POINTS_MOST = 64, RISERS_MOST = 8, ANSWER_SIZE = 600 };

/* One number in one topic. All JSON is borrowed from the list. */
struct value {
    const json_t *topic, *value;
};

struct point_answers {
    char id[ANSWER_SIZE], quantity[ANSWER_SIZE], unit[ANSWER_SIZE], every[ANSWER_SIZE];
    char riser[ANSWER_SIZE];
};

struct riser_answers {
    char id[ANSWER_SIZE], pipe[ANSWER_SIZE], discharge[ANSWER_SIZE];
    char fan[ANSWER_SIZE], serial[ANSWER_SIZE], installed[ANSWER_SIZE];
};

struct house_answers {
    char id[ANSWER_SIZE], name[ANSWER_SIZE], address[ANSWER_SIZE], time_zone[ANSWER_SIZE];
    char region[ANSWER_SIZE], contacts[ANSWER_SIZE];
};

struct asking {
    struct ctl *ctl;
    struct value values[VALUES_MOST];
    size_t value_count;
    size_t picked[POINTS_MOST];
    struct point_answers points[POINTS_MOST];
    size_t point_count;
    struct riser_answers risers[RISERS_MOST];
    size_t riser_count;
    struct house_answers house;
};

/* ---- one question ---- */

/* Asks; an empty answer leaves what `answer` holds. False at the end of the input. */
static bool ask(const struct asking *asking, enum page_text question, char answer[ANSWER_SIZE]) {
    char line[ANSWER_SIZE];
    char *clean = ctl_text_clean(answer);
    printf(*answer ? "%s [%s]: " : "%s: ", ctl_words(asking->ctl, question), clean ? clean : "");
    free(clean);
    fflush(stdout);
    if (!fgets(line, sizeof line, stdin)) {
        printf("\n");
        return false;
    }
    line[strcspn(line, "\r\n")] = '\0';
    char *text = line + strspn(line, " \t");
    size_t length = strlen(text);
    while (length > 0 && (text[length - 1] == ' ' || text[length - 1] == '\t'))
        text[--length] = '\0';
    if (length)
        memcpy(answer, text, length + 1);
    return true;
}

/* One of several about the same: it stands a little to the right. */
static bool ask_part(const struct asking *asking, enum page_text question,
                     char answer[ANSWER_SIZE]) {
    printf("  ");
    return ask(asking, question, answer);
}

/* ---- which topics ---- */

static void collect(struct asking *asking, const json_t *list, const char *filter) {
    const json_t *topic, *value;
    size_t i, k;
    json_array_foreach(list, i, topic) {
        if (filter && !checked_text_filter_takes(filter, ctl_text_of(topic, "topic")))
            continue;
        const json_t *values = json_object_get(topic, "values");
        json_array_foreach(values, k, value) {
            if (asking->value_count < VALUES_MOST)
                asking->values[asking->value_count++] = (struct value){topic, value};
        }
    }
}

/* "subslab/maple-4/box /radon" */
static void place_text(const struct value *value, char *text, size_t size) {
    const char *pointer = ctl_text_of(value->value, "pointer");
    const char *senml = ctl_text_of(value->value, "senml_name");
    snprintf(text, size, "%s%s%s%s", ctl_text_of(value->topic, "topic"),
             *pointer || *senml ? " " : "", pointer, senml);
}

static void print_values(const struct asking *asking) {
    const struct ctl *ctl = asking->ctl;
    const struct ctl_column columns[] = {
        {ctl_words(ctl, PAGE_HEAD_NUMBER), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_TOPIC), false, CTL_KEEP_NOTHING},
        {ctl_words(ctl, PAGE_HEAD_VALUE), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_SHOW_COLUMN_AGE), true, CTL_KEEP_WHOLE},
        {ctl_words(ctl, PAGE_HEAD_MAY_BE), false, CTL_KEEP_WORDS}};
    struct ctl_table *table = ctl_table_create(columns, 5);
    for (size_t i = 0; i < asking->value_count; i++) {
        const struct value *value = &asking->values[i];
        char place[700], number[40], last[CTL_VALUE_SIZE], may_be[100];
        place_text(value, place, sizeof place);
        snprintf(number, sizeof number, "%g", ctl_number_of(value->value, "value"));
        snprintf(may_be, sizeof may_be, "%s %s", ctl_text_of(value->value, "quantity"),
                 ctl_text_of(value->value, "unit"));
        ctl_table_add_number(table, (long long)i + 1);
        ctl_table_add(table, place);
        ctl_table_add(table, number);
        ctl_table_add(table,
                      ctl_words_of(ctl, ctl_age(last, json_object_get(value->topic, "last"))));
        ctl_table_add(table, may_be);
    }
    ctl_table_print(table, stdout);
    ctl_table_destroy(table);
}

static bool pick(struct asking *asking, size_t number) {
    if (number < 1 || number > asking->value_count || asking->point_count == POINTS_MOST)
        return false;
    for (size_t i = 0; i < asking->point_count; i++)
        if (asking->picked[i] == number - 1)
            return true;
    asking->picked[asking->point_count++] = number - 1;
    return true;
}

/* "1 3-5, 8" */
static bool pick_numbers(struct asking *asking, const char *text) {
    asking->point_count = 0;
    for (const char *at = text; *at;) {
        char *end;
        at += strspn(at, " ,;");
        if (!*at)
            break;
        unsigned long from = strtoul(at, &end, 10), to = from;
        if (end == at || !isdigit((unsigned char)*at))
            return false;
        if (*end == '-' && isdigit((unsigned char)end[1]))
            to = strtoul(end + 1, &end, 10);
        for (unsigned long number = from; number <= to && number - from < POINTS_MOST; number++)
            if (!pick(asking, number))
                return false;
        at = end;
    }
    return asking->point_count > 0;
}

static bool ask_which(struct asking *asking) {
    for (;;) {
        char answer[ANSWER_SIZE] = "";
        if (!ask(asking, PAGE_ASK_WHICH, answer))
            return false;
        if (pick_numbers(asking, answer))
            return true;
        ctl_tell(asking->ctl, PAGE_ASK_ALLOWED_NUMBERS, CTL_COUNT(asking->value_count),
                 CTL_COUNT(POINTS_MOST), NULL);
    }
}

/* ---- what they are ---- */

/* The last part of a name that may be an id: of "/pressure/riser" "riser". */
static void propose_id(const struct value *value, char id[ANSWER_SIZE]) {
    char place[700];
    place_text(value, place, sizeof place);
    const char *last = strrchr(place, '/');
    snprintf(id, ANSWER_SIZE, "%.64s", last && last[1] ? last + 1 : place);
    for (char *at = id; *at; at++)
        if (!isalnum((unsigned char)*at) && !strchr("._-", *at))
            *at = '-';
    if (checked_text_id(id))
        *id = '\0';
}

static bool ask_point(struct asking *asking, size_t i) {
    const struct value *value = &asking->values[asking->picked[i]];
    struct point_answers *point = &asking->points[i];
    char place[700], number[40];
    place_text(value, place, sizeof place);
    snprintf(number, sizeof number, "%g", ctl_number_of(value->value, "value"));
    printf("\n");
    ctl_tell(asking->ctl, PAGE_ASK_LAST_VALUE, place, number, NULL);
    propose_id(value, point->id);
    snprintf(point->quantity, ANSWER_SIZE, "%s", ctl_text_of(value->value, "quantity"));
    snprintf(point->unit, ANSWER_SIZE, "%s", ctl_text_of(value->value, "unit"));
    snprintf(point->every, ANSWER_SIZE, "%s", ctl_text_of(value->topic, "every"));
    return ask_part(asking, PAGE_ASK_POINT_ID, point->id) &&
           ask_part(asking, PAGE_ASK_QUANTITY, point->quantity) &&
           ask_part(asking, PAGE_ASK_UNIT, point->unit) &&
           ask_part(asking, PAGE_ASK_EVERY, point->every) &&
           (asking->riser_count == 1 || ask_part(asking, PAGE_ASK_ITS_RISER, point->riser));
}

/* ---- risers ---- */

static bool ask_riser_count(struct asking *asking) {
    for (;;) {
        char answer[ANSWER_SIZE] = "1", *end;
        if (!ask(asking, PAGE_ASK_RISER_COUNT, answer))
            return false;
        unsigned long count = strtoul(answer, &end, 10);
        asking->riser_count = count;
        if (end != answer && !*end && count >= 1 && count <= RISERS_MOST)
            return true;
        ctl_tell(asking->ctl, PAGE_ASK_ALLOWED_COUNT, CTL_COUNT(RISERS_MOST), NULL);
    }
}

/* Their ids first, for points name them. One alone has none. */
static bool ask_riser_ids(struct asking *asking) {
    if (!ask_riser_count(asking))
        return false;
    for (size_t i = 0; asking->riser_count > 1 && i < asking->riser_count; i++) {
        snprintf(asking->risers[i].id, ANSWER_SIZE, "riser-%zu", i + 1);
        if (!ask_part(asking, PAGE_ASK_RISER_ID, asking->risers[i].id))
            return false;
    }
    return true;
}

static bool ask_riser(const struct asking *asking, struct riser_answers *riser) {
    if (*riser->id) {
        printf("\n");
        ctl_tell(asking->ctl, PAGE_ASK_RISER, riser->id, NULL);
    }
    return ask_part(asking, PAGE_ASK_PIPE, riser->pipe) &&
           ask_part(asking, PAGE_ASK_FAN_MODEL, riser->fan) &&
           (!*riser->fan || (ask_part(asking, PAGE_ASK_FAN_SERIAL, riser->serial) &&
                             ask_part(asking, PAGE_ASK_FAN_INSTALLED, riser->installed))) &&
           ask_part(asking, PAGE_ASK_DISCHARGE, riser->discharge);
}

/* ---- the house ---- */

/* Of "subslab/maple-4/suction" "maple-4". */
static void propose_system(const struct asking *asking, char id[ANSWER_SIZE]) {
    const struct value *value = &asking->values[asking->picked[0]];
    const char *topic = ctl_text_of(value->topic, "topic");
    const char *last = strrchr(topic, '/'), *from = last;
    while (from && from > topic && from[-1] != '/')
        from--;
    if (!from || last - from >= 64)
        return;
    snprintf(id, ANSWER_SIZE, "%.*s", (int)(last - from), from);
    if (checked_text_id(id))
        *id = '\0';
}

static bool ask_house(struct asking *asking, const char *system) {
    struct house_answers *house = &asking->house;
    if (system)
        snprintf(house->id, sizeof house->id, "%s", system);
    else
        propose_system(asking, house->id);
    printf("\n");
    ctl_tell(asking->ctl, PAGE_ASK_HOUSE, NULL);
    return (system || ask_part(asking, PAGE_ASK_HOUSE_ID, house->id)) &&
           ask_part(asking, PAGE_ASK_NAME, house->name) &&
           ask_part(asking, PAGE_ASK_ADDRESS, house->address) &&
           ask_part(asking, PAGE_ASK_TIME_ZONE, house->time_zone) &&
           ask_part(asking, PAGE_ASK_REGION, house->region) &&
           ask_part(asking, PAGE_ASK_CONTACTS, house->contacts);
}

/* ---- the file ---- */

static char *write_text(const struct asking *asking) {
    const struct house_answers *house = &asking->house;
    struct system_file_point points[POINTS_MOST] = {0};
    struct system_file_branch risers[RISERS_MOST];
    for (size_t i = 0; i < asking->point_count; i++) {
        const struct value *value = &asking->values[asking->picked[i]];
        const struct point_answers *from = &asking->points[i];
        points[i] = (struct system_file_point){
            .id = from->id,
            .quantity = from->quantity,
            .topic = ctl_text_of(value->topic, "topic"),
            .branch = from->riser,
            .unit = from->unit,
            .every = from->every,
            .value = json_string_value(json_object_get(value->value, "pointer")),
            .time = json_string_value(json_object_get(value->value, "time_pointer")),
            .senml_name = json_string_value(json_object_get(value->value, "senml_name"))};
    }
    for (size_t i = 0; i < asking->riser_count; i++) {
        const struct riser_answers *from = &asking->risers[i];
        risers[i] = (struct system_file_branch){.id = from->id,
                                                .inside_diameter = from->pipe,
                                                .model = from->fan,
                                                .serial = from->serial,
                                                .installed = from->installed,
                                                .discharge = from->discharge};
    }
    const struct system_file file = {.id = house->id,
                                     .name = house->name,
                                     .address = house->address,
                                     .time_zone = house->time_zone,
                                     .region = house->region,
                                     .contacts = house->contacts,
                                     .branches = risers,
                                     .branch_count = asking->riser_count,
                                     .points = points,
                                     .point_count = asking->point_count};
    return system_file_write(&file);
}

static bool confirm(const struct asking *asking, const char *text) {
    char answer[ANSWER_SIZE] = "";
    printf("\n%s\n", text);
    return ask(asking, PAGE_ASK_ENROL, answer) &&
           strcmp(answer, ctl_words(asking->ctl, PAGE_ASK_YES)) == 0;
}

static enum ctl_status ask_all(struct asking *asking, const char *system,
                               struct enrol_houses *houses) {
    print_values(asking);
    bool good = ask_which(asking) && ask_riser_ids(asking);
    for (size_t i = 0; good && i < asking->point_count; i++)
        good = ask_point(asking, i);
    good = good && ask_house(asking, system);
    for (size_t i = 0; good && i < asking->riser_count; i++)
        good = ask_riser(asking, &asking->risers[i]);
    char *text = good ? write_text(asking) : NULL;
    if (!text || !confirm(asking, text)) {
        free(text);
        ctl_tell(asking->ctl, PAGE_ASK_NOTHING_WRITTEN, NULL);
        return CTL_FAILED;
    }
    return enrol_add(houses, strdup("answers"), text)
               ? CTL_DONE
               : ctl_error(asking->ctl, CTL_FAILED, "out of memory");
}

enum ctl_status enrol_ask(struct ctl *ctl, const char *system, const char *filter,
                          struct enrol_houses *houses) {
    json_t *list = ctl_ask(ctl, "/api/unclaimed");
    enum ctl_status status = CTL_FAILED;
    struct asking *asking = list ? calloc(1, sizeof *asking) : NULL;
    if (asking) {
        asking->ctl = ctl;
        collect(asking, list, filter);
        status = asking->value_count
                     ? ask_all(asking, system, houses)
                     : ctl_error(ctl, CTL_FAILED,
                                 "no topic%s%s waits to be claimed; see: subslabctl unclaimed",
                                 filter ? " that fits " : "", filter ? filter : "");
    }
    free(asking);
    json_decref(list);
    return status;
}
