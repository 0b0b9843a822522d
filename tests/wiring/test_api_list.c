/* How lists share the turns of the loop. */
#include "api/list.h"
#include "test_support.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { LISTS = 7, ROWS = 9, ROW_MS = 4, TURN_MS = 3 };

static void wait_ms(long ms) {
    const struct timespec pause = {0, ms * 1000000};
    nanosleep(&pause, NULL);
}

/* A row takes longer than all lists may take of a turn. */
static enum api_list_step slow_row(void *context, struct api *api, struct api_list *list) {
    int *rows = context;
    (void)api;
    wait_ms(ROW_MS);
    api_list_add(list, json_pack("[i]", (*rows)++));
    return *rows == ROWS ? API_LIST_END : API_LIST_MORE;
}

static const struct api_list_source slow_rows = {slow_row, free};

struct reader {
    struct web_stream stream;
    char text[200];
    size_t length;
    int waited; /* turns in which others went on */
    bool ended;
};

static void begin_turn(struct api *api) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    api_list_turn(&api->lists, (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000 + TURN_MS);
}

/* Did it get anything? */
static bool read_on(struct reader *reader) {
    ssize_t length = reader->stream.next(reader->stream.context, reader->text + reader->length,
                                         sizeof reader->text - 1 - reader->length);
    reader->ended = length == WEB_STREAM_END;
    ck_assert(length >= 0 || reader->ended);
    reader->length += length > 0 ? (size_t)length : 0;
    if (length > 0)
        reader->waited = 0;
    return length > 0;
}

static void begin(struct api *api, struct reader *reader) {
    struct web_answer answer = {0};
    struct api_call call = {.api = api, .answer = &answer};
    int *rows = calloc(1, sizeof *rows);
    ck_assert_ptr_nonnull(rows);
    api_list_answer(&call, &slow_rows, rows);
    ck_assert_int_eq(answer.status, 200);
    ck_assert_ptr_nonnull(answer.stream.next);
    reader->stream = answer.stream;
}

START_TEST(lists_wait_for_each_other_and_none_for_ever) {
    struct api api = {0};
    struct reader readers[LISTS] = {0};
    size_t ended = 0;
    begin_turn(&api);
    for (size_t i = 0; i < LISTS; i++)
        begin(&api, &readers[i]);
    for (int turn = 0; ended < LISTS; turn++) {
        int served = 0;
        ck_assert_int_lt(turn, 100 * LISTS * ROWS);
        begin_turn(&api);
        for (size_t i = 0; i < LISTS; i++) {
            bool before = readers[i].ended;
            if (!before && read_on(&readers[i]))
                served += readers[i].length > 1; /* what it began with costs nothing */
            ended += readers[i].ended && !before;
        }
        ck_assert_int_le(served, 1); /* one row is all there is time for */
        for (size_t i = 0; i < LISTS; i++) {
            readers[i].waited += served;
            ck_assert(readers[i].ended || readers[i].waited <= 2 * LISTS);
        }
    }
    for (size_t i = 0; i < LISTS; i++) {
        ck_assert_str_eq(readers[i].text, "[[0],[1],[2],[3],[4],[5],[6],[7],[8]]");
        readers[i].stream.close(readers[i].stream.context);
    }
}
END_TEST

int main(void) {
    TCase *lists = tcase_create("lists");
    tcase_add_test(lists, lists_wait_for_each_other_and_none_for_ever);
    return run_test_case(lists);
}
