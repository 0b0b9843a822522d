#include "tool/shards.h"

#include "measure/timestamp.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool ctl_shards_many(const struct ctl *ctl) {
    return ctl->settings_count > 1;
}

const char *ctl_shards_name(const json_t *row, char *text, size_t size) {
    const char *file = json_string_value(json_object_get(row, "settings"));
    const char *slash = file ? strrchr(file, '/') : NULL, *name = slash ? slash + 1 : file;
    snprintf(text, size, "%.*s", name ? (int)strcspn(name, ".") : 0, name ? name : "");
    return text;
}

static int64_t time_of(const json_t *row, const char *key) {
    const char *text = json_string_value(json_object_get(row, key));
    int64_t time_ms = 0;
    return text && timestamp_parse(text, strlen(text), &time_ms) ? time_ms : INT64_MAX;
}

int ctl_shards_earlier(const json_t *a, const json_t *b, const char *key) {
    int64_t first_ms = time_of(a, key), second_ms = time_of(b, key);
    return (first_ms > second_ms) - (first_ms < second_ms);
}

/* ---- asking ---- */

static json_t *rows_of(struct ctl *ctl, const char *path) {
    struct ctl_answer answer;
    if (!ctl_request(ctl, path, NULL, &answer))
        return NULL;
    json_t *rows = ctl_json_of(&answer), *row;
    if (!json_is_array(rows)) {
        json_decref(rows);
        ctl_error(ctl, CTL_FAILED, "the answer on %s is no list", ctl->socket);
        return NULL;
    }
    size_t i;
    json_array_foreach(rows, i, row)
        json_object_set_new(row, "settings", json_string(ctl->settings_file));
    return rows;
}

/* ---- merging ---- */

/* The list whose next row comes first; `count` when all are used up. */
static size_t next_list(json_t *const *lists, const size_t *at, size_t count,
                        ctl_row_order *compare) {
    size_t first = count;
    for (size_t l = 0; l < count; l++) {
        const json_t *row = json_array_get(lists[l], at[l]);
        if (row && (first == count || compare(row, json_array_get(lists[first], at[first])) < 0))
            first = l;
    }
    return first;
}

static json_t *merge(json_t *const *lists, size_t count, size_t most, ctl_row_order *compare) {
    size_t *at = calloc(count, sizeof *at), list;
    json_t *merged = at ? json_array() : NULL;
    while (merged && json_array_size(merged) < most &&
           (list = next_list(lists, at, count, compare)) < count)
        json_array_append(merged, json_array_get(lists[list], at[list]++));
    free(at);
    return merged;
}

static void print(json_t *merged) {
    json_dumpf(merged, stdout, JSON_COMPACT);
    putchar('\n');
    json_decref(merged);
}

enum ctl_status ctl_shards_get(struct ctl *ctl, const char *path, const char *limit,
                               ctl_row_order *compare, json_t **root) {
    enum ctl_status status = CTL_DONE;
    if (!ctl_shards_many(ctl))
        return ctl_get_json(ctl, path, root);
    json_t **lists = calloc(ctl->settings_count, sizeof(json_t *));
    *root = NULL;
    for (size_t i = 0; lists && i < ctl->settings_count; i++) {
        ctl_use_settings(ctl, ctl->settings_files[i]);
        lists[i] = rows_of(ctl, path);
        if (!lists[i])
            status = CTL_FAILED;
    }
    size_t most = limit ? strtoul(limit, NULL, 10) : SIZE_MAX;
    json_t *merged = lists ? merge(lists, ctl->settings_count, most, compare) : NULL;
    for (size_t i = 0; lists && i < ctl->settings_count; i++)
        json_decref(lists[i]);
    free(lists);
    if (!merged)
        return ctl_error(ctl, CTL_FAILED, "out of memory");
    if (ctl->json)
        print(merged);
    else
        *root = merged;
    return status;
}
