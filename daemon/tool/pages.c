#include "tool/pages.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_A_PAGE = 1000 };

struct ctl_pages ctl_pages_of(const struct ctl_arguments *given) {
    return (struct ctl_pages){ctl_option(given, "--limit"), ctl_option(given, "--before")};
}

enum ctl_status ctl_pages_check(const struct ctl *ctl, const struct ctl_pages *pages) {
    const char *limit = pages->limit;
    size_t length = limit ? strlen(limit) : 0;
    if (!limit || (length > 0 && length < 19 && strspn(limit, "0123456789") == length &&
                   strtoll(limit, NULL, 10) > 0))
        return CTL_DONE;
    return ctl_error(ctl, CTL_WRONG_USE, "--limit N is a number such as 50");
}

/* One page; NULL after an error was printed. */
static json_t *get_page(struct ctl *ctl, const struct ctl_path *list, long long rows,
                        const char *before) {
    struct ctl_path path = *list;
    struct ctl_answer answer;
    char limit[24];
    snprintf(limit, sizeof limit, "%lld", rows);
    ctl_path_query(&path, "limit", limit);
    ctl_path_query(&path, "before", before);
    if (!ctl_request(ctl, path.text, NULL, &answer))
        return NULL;
    json_t *page = ctl_json_of(&answer);
    if (!json_is_array(page)) {
        json_decref(page);
        ctl_error(ctl, CTL_FAILED,
                  "the daemon's answer is no list; are daemon and tool of the same version?");
        return NULL;
    }
    return page;
}

/* Ids are numbers or texts. */
static void keep_id(const json_t *row, char *text, size_t size) {
    const json_t *id = json_object_get(row, "id");
    if (json_is_string(id))
        snprintf(text, size, "%s", json_string_value(id));
    else
        snprintf(text, size, "%lld", (long long)json_integer_value(id));
}

enum ctl_status ctl_pages_each(struct ctl *ctl, const struct ctl_path *list,
                               const struct ctl_pages *pages, ctl_page_rows *take, void *context) {
    long long left = pages->limit ? strtoll(pages->limit, NULL, 10) : LLONG_MAX;
    const char *before = pages->before;
    char last[256];
    bool more = true;
    while (more) {
        long long asked = left < ROWS_A_PAGE ? left : ROWS_A_PAGE;
        json_t *page = get_page(ctl, list, asked, before);
        if (!page)
            return CTL_FAILED;
        size_t count = json_array_size(page);
        take(context, page);
        keep_id(json_array_get(page, count ? count - 1 : 0), last, sizeof last);
        before = last;
        left -= asked;
        more = left > 0 && (long long)count == asked;
        json_decref(page);
    }
    return CTL_DONE;
}

static void print_rows(void *context, const json_t *rows) {
    bool *begun = context;
    const json_t *row;
    size_t i;
    json_array_foreach(rows, i, row) {
        char *text = json_dumps(row, JSON_COMPACT);
        printf("%s%s", *begun ? ",\n" : "[", text ? text : "null");
        free(text);
        *begun = true;
    }
}

enum ctl_status ctl_pages_print(struct ctl *ctl, const struct ctl_path *list,
                                const struct ctl_pages *pages) {
    bool begun = false;
    enum ctl_status status = ctl_pages_each(ctl, list, pages, print_rows, &begun);
    if (status == CTL_DONE) /* a list that broke off has no end */
        printf("%s]\n", begun ? "" : "[");
    return status;
}
