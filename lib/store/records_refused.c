/*
 * records_refused: two bounded tables of the same kind, refused messages and unclaimed topics. Rows
 * come from what strangers send, so their number and the length of what is kept have bounds; the
 * row not seen for longest makes room.
 */
#include "store/records.h"

#include "store/store_sqlite.h"

#include <string.h>

#define TOPIC_BYTES 1024 /* a longer topic is cut, on a whole character of UTF-8 */

static struct store_value topic_of(const char *topic) {
    size_t length = strnlen(topic, TOPIC_BYTES + 1);
    if (length > TOPIC_BYTES) {
        length = TOPIC_BYTES;
        while (length > 0 && ((unsigned char)topic[length] & 0xC0) == 0x80)
            length--;
    }
    return TEXT_UP_TO(topic, (int)length);
}

struct counting_table {
    const char *again, *add, *bound, *list;
    int rows;
    size_t example_bytes;
};

/* Parameters of all: 1 topic, 2 time, 3 times, 4 example, 5 reason (refused only). */
static const struct counting_table refused_table = {
    "UPDATE refused SET count = count + ?3, last_ms = max(last_ms, ?2), first_ms = min(first_ms, "
    "?2) WHERE topic = ?1 AND reason = ?5",
    "INSERT INTO refused (topic, reason, count, first_ms, last_ms, example) "
    "VALUES (?1, ?5, ?3, ?2, ?2, ?4)",
    "DELETE FROM refused WHERE (topic, reason) IN (SELECT topic, reason FROM refused ORDER BY "
    "last_ms LIMIT max(0, (SELECT count(*) FROM refused) - ?1))",
    "SELECT topic, reason, count, first_ms, last_ms, example FROM refused ORDER BY last_ms DESC, "
    "topic, reason",
    RECORD_REFUSED_ROWS,
    RECORD_EXAMPLE_BYTES};

static const struct counting_table unclaimed_table = {
    "UPDATE unclaimed SET count = count + ?3, last_ms = max(last_ms, ?2), first_ms = "
    "min(first_ms, ?2), example = ?4 WHERE topic = ?1",
    "INSERT INTO unclaimed (topic, count, first_ms, last_ms, example) VALUES (?1, ?3, ?2, ?2, ?4)",
    "DELETE FROM unclaimed WHERE topic IN (SELECT topic FROM unclaimed ORDER BY last_ms "
    "LIMIT max(0, (SELECT count(*) FROM unclaimed) - ?1))",
    "SELECT topic, '', count, first_ms, last_ms, example FROM unclaimed ORDER BY last_ms DESC, "
    "topic",
    RECORD_UNCLAIMED_ROWS,
    RECORD_UNCLAIMED_BYTES};

static enum store_status run_counting(struct store *store, const char *sql, size_t most_bytes,
                                      const struct record_refused *one) {
    size_t bytes = one->example_length < most_bytes ? one->example_length : most_bytes;
    return store_do(store, sql,
                    VALUES(topic_of(one->topic), INT(one->last_ms), INT(one->count),
                           BYTES(one->example ? one->example : "", bytes), TEXT(one->reason)));
}

static enum store_status count_one(struct store *store, const struct counting_table *table,
                                   const struct record_refused *one) {
    bool own;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, run_counting(store, table->again, table->example_bytes, one));
    if (status == STORE_OK && sqlite3_changes(store->db) == 0) {
        /* Room is made before a row comes, so that the new one is never the one to go. */
        status = store_do(store, table->bound, VALUES(INT(table->rows - 1)));
        THEN(status, run_counting(store, table->add, table->example_bytes, one));
    }
    return store_scope_end(store, own, status);
}

static enum store_status list(struct store *store, const struct counting_table *table,
                              record_refused_row *row, void *context) {
    sqlite3_stmt *rows;
    enum store_status status = store_ask(store, table->list, NO_VALUES, &rows);
    while (status == STORE_OK && (status = store_row(store, rows)) == STORE_OK) {
        struct record_refused one = {.topic = store_column_text(rows, 0),
                                     .reason = store_column_text(rows, 1),
                                     .count = sqlite3_column_int64(rows, 2),
                                     .first_ms = sqlite3_column_int64(rows, 3),
                                     .last_ms = sqlite3_column_int64(rows, 4),
                                     .example = sqlite3_column_blob(rows, 5)};
        one.example_length = (size_t)sqlite3_column_bytes(rows, 5);
        if (!row(context, &one))
            break;
    }
    return store_listed(rows, status);
}

enum store_status record_refused_add(struct store *store, const char *topic, const char *reason,
                                     int64_t now_ms, int64_t times, const void *example,
                                     size_t example_length) {
    struct record_refused one = {topic, reason, times, now_ms, now_ms, example, example_length};
    return count_one(store, &refused_table, &one);
}

enum store_status record_refused_list(struct store *store, record_refused_row *row, void *context) {
    return list(store, &refused_table, row, context);
}

enum store_status record_unclaimed_add(struct store *store, const char *topic, int64_t now_ms,
                                       int64_t times, const void *example, size_t example_length) {
    struct record_refused one = {topic, NULL, times, now_ms, now_ms, example, example_length};
    return count_one(store, &unclaimed_table, &one);
}

enum store_status record_unclaimed_list(struct store *store, record_refused_row *row,
                                        void *context) {
    return list(store, &unclaimed_table, row, context);
}
