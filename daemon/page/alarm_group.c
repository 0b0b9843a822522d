#include "page/alarm_group.h"

#include "monitor/fleet.h"

#include <jansson.h>
#include <string.h>

int alarm_group_order(const struct alarm *one, const struct alarm *other) {
    if (one->priority != other->priority)
        return (int)other->priority - (int)one->priority;
    if (one->raised_ms != other->raised_ms)
        return one->raised_ms < other->raised_ms ? -1 : 1;
    return (one->id > other->id) - (one->id < other->id);
}

static bool is_suppressed(const struct alarm *alarm) {
    return alarm_state(alarm) == ALARM_SUPPRESSED_BY_DESIGN;
}

/* Do their details name the same cause? */
static bool same_cause(const struct alarm *one, const struct alarm *other) {
    if (!one->details || !other->details)
        return false;
    json_t *of_one = json_loads(one->details, 0, NULL);
    json_t *of_other = json_loads(other->details, 0, NULL);
    const char *cause = json_string_value(json_object_get(of_one, "cause"));
    const char *others = json_string_value(json_object_get(of_other, "cause"));
    bool same = cause && others && strcmp(cause, others) == 0 && strcmp(cause, "none") != 0 &&
                strcmp(cause, "undecided") != 0;
    json_decref(of_one);
    json_decref(of_other);
    return same;
}

static const struct alarm *of_cause_leader(const struct alarm_book *book,
                                           const struct alarm *alarm) {
    const struct alarm *leader = alarm;
    for (const struct alarm *other =
             alarm->system == FLEET_NONE ? NULL : alarm_book_of_system(book, alarm->system);
         other; other = other->next_of_system) {
        if (other != alarm && alarm_open(other) && !is_suppressed(other) &&
            alarm_group_order(other, leader) < 0 && same_cause(other, alarm))
            leader = other;
    }
    return leader;
}

/* An alarm that is explained by one which is explained itself is led where that one is. */
const struct alarm *alarm_group_leader(const struct alarm_book *book, const struct alarm *alarm) {
    for (int depth = 0; depth < CONDITION_COUNT && is_suppressed(alarm); depth++) {
        const struct alarm *cause = alarm_book_cause(book, alarm);
        if (!cause)
            break;
        alarm = cause;
    }
    return is_suppressed(alarm) ? alarm : of_cause_leader(book, alarm);
}

static void add(struct alarm_group *group, const struct alarm *alarm) {
    group->total++;
    if (group->count < ALARM_GROUP_MOST)
        group->members[group->count++] = alarm;
}

static void consider(struct alarm_group *group, const struct alarm_book *book,
                     const struct alarm *alarm, bool suppressed) {
    const struct alarm *leader = group->members[0];
    if (alarm != leader && alarm_open(alarm) && is_suppressed(alarm) == suppressed &&
        alarm_group_leader(book, alarm) == leader)
        add(group, alarm);
}

static void add_all(struct alarm_group *group, const struct alarm_book *book, bool suppressed) {
    size_t system = group->members[0]->system;
    if (system == FLEET_NONE) { /* may explain alarms of any system */
        for (size_t i = 0; i < alarm_book_count(book); i++)
            consider(group, book, alarm_book_at(book, i), suppressed);
        return;
    }
    for (const struct alarm *alarm = alarm_book_of_system(book, system); alarm;
         alarm = alarm->next_of_system)
        consider(group, book, alarm, suppressed);
}

struct alarm_group alarm_group_of(const struct alarm_book *book, const struct alarm *leader) {
    struct alarm_group group = {0};
    add(&group, leader);
    add_all(&group, book, false);
    group.of_cause = group.count;
    add_all(&group, book, true);
    return group;
}
