/*
 * The alarms of a message about many: a line of text and a JSON object of each.
 */
#include "tell/announce_private.h"

#include "measure/array.h"

#include <stdlib.h>
#include <string.h>

enum { LINES_MOST = 100 };

bool announce_members_open(struct announce_members *members) {
    *members = (struct announce_members){.lines = calloc(LINES_MOST, sizeof(char *)),
                                         .alarms = json_array()};
    return members->lines && members->alarms;
}

bool announce_members_add(void *context, const struct outbox_member *member) {
    struct announce_members *members = context;
    members->count++;
    json_t *alarm = json_loads(member->data, 0, NULL);
    if (!alarm || json_array_append_new(members->alarms, alarm) != 0)
        members->failed = true;
    if (members->lines_count == LINES_MOST)
        return true;
    char *line = strdup(member->line);
    members->failed |= line == NULL;
    if (line)
        members->lines[members->lines_count++] = line;
    return true;
}

void announce_members_tell(const struct announce_members *members, struct wording_facts *facts) {
    facts->lines = (struct text_list){(const char *const *)members->lines, members->lines_count};
    facts->more = members->count - members->lines_count;
}

char *announce_members_json(const struct announce_members *members, json_t *data) {
    bool good = !members->failed && data &&
                json_object_set_new(data, "count", json_integer((json_int_t)members->count)) == 0 &&
                json_object_set(data, "alarms", members->alarms) == 0;
    char *text = good ? json_dumps(data, JSON_COMPACT | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(data);
    return text;
}

void announce_members_close(struct announce_members *members) {
    array_free_texts(members->lines, members->lines_count);
    json_decref(members->alarms);
}
