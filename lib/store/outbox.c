/*
 * outbox: messages that wait or went. Of the waiting rows of one contact and system only the
 * earliest may go; it is marked `head`, and everything that is asked often looks at heads alone, by
 * contact. So 10 000 rows that wait for a contact that is down cost a contact that works nothing.
 */
#include "store/outbox.h"

#include "measure/array.h"
#include "store/store_sqlite.h"

#include <stdlib.h>
#include <string.h>

#define PRIORITIES 3 /* enum priority: low, medium, high */

#define COLUMNS                                                                                    \
    "row, id, contact, system, type, content_type, body, alarm, priority, created_ms, "            \
    "not_before_ms, state, tries, done_ms, last_answer"

/* ---- rows to structs ---- */

static size_t text_size(sqlite3_stmt *statement, int column) {
    return sqlite3_column_text(statement, column)
               ? (size_t)sqlite3_column_bytes(statement, column) + 1
               : 0;
}

/* Copies a text to *free_space and moves that on; NULL stays NULL. */
static const char *copy_text(sqlite3_stmt *statement, int column, char **free_space) {
    size_t size = text_size(statement, column);
    if (size == 0)
        return NULL;
    char *copy = *free_space;
    memcpy(copy, sqlite3_column_text(statement, column), size);
    *free_space += size;
    return copy;
}

/* One block: the struct with its texts behind it. NULL: out of memory. */
static struct outbox_message *message_of(sqlite3_stmt *statement) {
    static const int texts[] = {2, 3, 4, 5, 6, 14};
    size_t size = sizeof(struct outbox_message);
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        size += text_size(statement, texts[i]);
    struct outbox_message *message = calloc(1, size);
    if (!message)
        return NULL;
    char *space = (char *)(message + 1);
    const char *id = store_column_text(statement, 1);
    if (id)
        strncpy(message->id, id, sizeof message->id - 1);
    message->row = sqlite3_column_int64(statement, 0);
    message->contact = copy_text(statement, 2, &space);
    message->system = copy_text(statement, 3, &space);
    message->type = copy_text(statement, 4, &space);
    message->content_type = copy_text(statement, 5, &space);
    message->body = copy_text(statement, 6, &space);
    message->alarm = sqlite3_column_int64(statement, 7);
    message->priority = sqlite3_column_int(statement, 8);
    message->created_ms = sqlite3_column_int64(statement, 9);
    message->not_before_ms = sqlite3_column_int64(statement, 10);
    message->state = (enum outbox_state)sqlite3_column_int(statement, 11);
    message->tries = sqlite3_column_int(statement, 12);
    message->done_ms = sqlite3_column_int64(statement, 13);
    message->last_answer = copy_text(statement, 14, &space);
    return message;
}

void outbox_message_free(struct outbox_message *message) {
    free(message);
}

/* Steps a statement over COLUMNS to its end; on failure nothing is handed out. */
static enum store_status collect(struct store *store, sqlite3_stmt *statement,
                                 struct outbox_message **messages, size_t capacity, size_t *count) {
    enum store_status status = STORE_OK;
    size_t begin = *count;
    while (*count < capacity && (status = store_row(store, statement)) == STORE_OK) {
        messages[*count] = message_of(statement);
        if (!messages[*count]) {
            status = STORE_OUT_OF_MEMORY;
            break;
        }
        (*count)++;
    }
    sqlite3_reset(statement);
    if (status == STORE_OK || status == STORE_NOT_FOUND)
        return STORE_OK;
    while (*count > begin)
        outbox_message_free(messages[--*count]);
    return status;
}

/* ---- heads ---- */

enum store_status outbox_mark_head(struct store *store, const char *contact, const char *system) {
    enum store_status status =
        store_do(store,
                 "UPDATE outbox SET head = 0 WHERE head = 1 AND row IN (SELECT row FROM outbox "
                 "WHERE state = 0 AND contact = ?1 AND system = ?2)",
                 VALUES(TEXT(contact), TEXT(system)));
    THEN(status, store_do(store,
                          "UPDATE outbox SET head = 1 WHERE row = (SELECT row FROM outbox WHERE "
                          "state = 0 AND contact = ?1 AND system = ?2 ORDER BY row LIMIT 1)",
                          VALUES(TEXT(contact), TEXT(system))));
    return status;
}

/* The same for contact and system of a row; STORE_NOT_FOUND. */
static enum store_status mark_head_of(struct store *store, int64_t row) {
    sqlite3_stmt *found;
    enum store_status status = store_first(
        store, "SELECT contact, system FROM outbox WHERE row = ?1", VALUES(INT(row)), &found);
    THEN(status, outbox_mark_head(store, store_column_text(found, 0), store_column_text(found, 1)));
    sqlite3_reset(found);
    return status;
}

/* ---- writing ---- */

/* No text is an empty one. */
static struct store_value some_text(const char *text) {
    return TEXT(text ? text : "");
}

enum store_status outbox_insert(struct store *store, const struct outbox_message *message,
                                int64_t *row) {
    enum store_status status = store_do(
        store,
        "INSERT INTO outbox (id, contact, system, type, content_type, body, alarm, priority, "
        "created_ms, not_before_ms, state, head, tries, done_ms, last_answer) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?11 = 0 AND NOT EXISTS (SELECT 1 "
        "FROM outbox WHERE state = 0 AND contact = ?2 AND system = ?3), ?12, ?13, ?14)",
        VALUES(some_text(message->id), some_text(message->contact), some_text(message->system),
               some_text(message->type), some_text(message->content_type), some_text(message->body),
               INT(message->alarm), INT(message->priority), INT(message->created_ms),
               INT(message->not_before_ms), INT(message->state), INT(message->tries),
               INT(message->done_ms), TEXT(message->last_answer)));
    if (status == STORE_OK && row)
        *row = sqlite3_last_insert_rowid(store->db);
    return status;
}

/* A row leaves the waiting ones; the next of its contact and system becomes the head. */
static enum store_status finish(struct store *store, int64_t row, enum outbox_state state,
                                int64_t now_ms, const char *answer) {
    bool own;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, store_do(store,
                          "UPDATE outbox SET state = ?2, head = 0, done_ms = ?3, last_answer = ?4, "
                          "tries = tries + 1 WHERE row = ?1",
                          VALUES(INT(row), INT((int)state), INT(now_ms), TEXT(answer))));
    THEN(status, mark_head_of(store, row));
    return store_scope_end(store, own, status);
}

enum store_status outbox_sent(struct store *store, int64_t row, int64_t now_ms,
                              const char *answer) {
    return finish(store, row, OUTBOX_SENT, now_ms, answer);
}

enum store_status outbox_failed(struct store *store, int64_t row, int64_t now_ms,
                                const char *answer) {
    return finish(store, row, OUTBOX_FAILED, now_ms, answer);
}

enum store_status outbox_retry(struct store *store, int64_t row, int64_t not_before_ms,
                               const char *answer) {
    enum store_status status =
        store_do(store,
                 "UPDATE outbox SET not_before_ms = ?2, last_answer = ?3, tries = tries + 1 "
                 "WHERE row = ?1 AND state = 0",
                 VALUES(INT(row), INT(not_before_ms), TEXT(answer)));
    THEN(status, sqlite3_changes(store->db) > 0 ? STORE_OK : STORE_NOT_FOUND);
    return status;
}

enum store_status outbox_hasten(struct store *store, const char *contact, const char *system,
                                int64_t not_before_ms) {
    return store_do(
        store,
        "UPDATE outbox SET not_before_ms = ?3 WHERE state = 0 AND contact = ?1 AND system = ?2 "
        "AND not_before_ms > ?3",
        VALUES(TEXT(contact), TEXT(system), INT(not_before_ms)));
}

enum store_status outbox_again(struct store *store, const char *id, int64_t now_ms) {
    bool own;
    int64_t row = 0;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status,
         store_get_integer(store, "SELECT row FROM outbox WHERE id = ?1 ORDER BY row DESC LIMIT 1",
                           VALUES(TEXT(id)), &row));
    THEN(status, store_do(store,
                          "UPDATE outbox SET state = 0, not_before_ms = ?2, done_ms = 0 "
                          "WHERE row = ?1",
                          VALUES(INT(row), INT(now_ms))));
    THEN(status, mark_head_of(store, row));
    return store_scope_end(store, own, status);
}

enum store_status outbox_expire(struct store *store, int64_t before_ms, int most, int *deleted) {
    *deleted = 0;
    /* Of the failed ones the earliest by number are looked at: what failed long ago is among them,
       and nothing has to be read that stays. */
    enum store_status status = store_do(
        store,
        "DELETE FROM outbox WHERE row IN (SELECT * FROM ("
        "SELECT row FROM outbox WHERE state = 1 AND done_ms < ?1 ORDER BY done_ms LIMIT ?2) "
        "UNION ALL SELECT row FROM (SELECT row, done_ms FROM outbox WHERE state = 2 ORDER BY row "
        "LIMIT ?2) WHERE done_ms < ?1 LIMIT ?2)",
        VALUES(INT(before_ms), INT(most)));
    if (status == STORE_OK)
        *deleted = sqlite3_changes(store->db);
    return status;
}

/* ---- what is due ---- */

struct contacts {
    char **names; /* those with a waiting row that are not busy */
    size_t count;
};

static bool is_among(const char *name, const char *const *names, size_t count) {
    for (size_t i = 0; i < count; i++)
        if (strcmp(name, names[i]) == 0)
            return true;
    return false;
}

/* Jumps from contact to contact through the index, so rows behind one cost nothing. */
static enum store_status find_contacts(struct store *store, const char *const *busy,
                                       size_t busy_count, struct contacts *contacts) {
    enum store_status status = STORE_OK;
    char *after = strdup("");
    if (!after)
        status = store_failure(store, SQLITE_NOMEM);
    while (status == STORE_OK) {
        sqlite3_stmt *next;
        status = store_first(store,
                             "SELECT contact FROM outbox INDEXED BY outbox_due WHERE head = 1 AND "
                             "contact > ?1 ORDER BY contact LIMIT 1",
                             VALUES(TEXT(after)), &next);
        if (status != STORE_OK)
            break;
        const char *name = store_column_text(next, 0);
        bool added = is_among(name, busy, busy_count) ||
                     array_add_text(&contacts->names, &contacts->count, name);
        char *before = after;
        after = added ? strdup(name) : NULL;
        sqlite3_reset(next);
        free(before);
        if (!after)
            status = store_failure(store, SQLITE_NOMEM);
    }
    free(after);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

static enum store_status due_of(struct store *store, const char *contact, int priority,
                                int64_t now_ms, size_t turn, struct outbox_message **messages,
                                size_t *count) {
    sqlite3_stmt *due;
    enum store_status status =
        store_ask(store,
                  "SELECT " COLUMNS " FROM outbox INDEXED BY outbox_due WHERE head = 1 AND "
                  "contact = ?1 AND priority = ?2 AND not_before_ms <= ?3 "
                  "ORDER BY not_before_ms, row LIMIT 1 OFFSET ?4",
                  VALUES(TEXT(contact), INT(priority), INT(now_ms), INT((int64_t)turn)), &due);
    return status == STORE_OK ? collect(store, due, messages, *count + 1, count) : status;
}

static enum store_status due_of_priority(struct store *store, const struct contacts *contacts,
                                         int priority, int64_t now_ms,
                                         struct outbox_message **messages, size_t capacity,
                                         size_t *count) {
    bool more = true;
    for (size_t turn = 0; more && *count < capacity; turn++) {
        more = false;
        for (size_t i = 0; i < contacts->count && *count < capacity; i++) {
            size_t before = *count;
            enum store_status status =
                due_of(store, contacts->names[i], priority, now_ms, turn, messages, count);
            if (status != STORE_OK)
                return status;
            more = more || *count > before;
        }
    }
    return STORE_OK;
}

enum store_status outbox_due(struct store *store, int64_t now_ms, const char *const *busy,
                             size_t busy_count, struct outbox_message **messages, size_t capacity,
                             size_t *count) {
    struct contacts contacts = {NULL, 0};
    *count = 0;
    enum store_status status = find_contacts(store, busy, busy_count, &contacts);
    for (int priority = PRIORITIES - 1; status == STORE_OK && priority >= 0; priority--)
        status = due_of_priority(store, &contacts, priority, now_ms, messages, capacity, count);
    array_free_texts(contacts.names, contacts.count);
    if (status != STORE_OK)
        while (*count > 0)
            outbox_message_free(messages[--*count]);
    return status;
}

enum store_status outbox_next(struct store *store, int64_t *not_before_ms) {
    enum store_status status = store_get_integer(
        store, "SELECT not_before_ms FROM outbox WHERE head = 1 ORDER BY not_before_ms LIMIT 1",
        NO_VALUES, not_before_ms);
    if (status == STORE_NOT_FOUND)
        *not_before_ms = INT64_MAX;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- looking ---- */

enum store_status outbox_list(struct store *store, bool only_failed, int64_t before_row,
                              struct outbox_message **messages, size_t capacity, size_t *count) {
    sqlite3_stmt *list;
    *count = 0;
    enum store_status status =
        store_ask(store,
                  only_failed ? "SELECT " COLUMNS " FROM outbox WHERE state = 2 AND row < ?1 "
                                "ORDER BY row DESC"
                              : "SELECT " COLUMNS " FROM outbox WHERE row < ?1 ORDER BY row DESC",
                  VALUES(INT(before_row ? before_row : INT64_MAX)), &list);
    return status == STORE_OK ? collect(store, list, messages, capacity, count) : status;
}

static enum store_status get_one(struct store *store, sqlite3_stmt *get,
                                 struct outbox_message **message) {
    size_t count = 0;
    enum store_status status = collect(store, get, message, 1, &count);
    return status == STORE_OK && count == 0 ? STORE_NOT_FOUND : status;
}

enum store_status outbox_get(struct store *store, int64_t row, struct outbox_message **message) {
    sqlite3_stmt *get;
    enum store_status status =
        store_ask(store, "SELECT " COLUMNS " FROM outbox WHERE row = ?1", VALUES(INT(row)), &get);
    return status == STORE_OK ? get_one(store, get, message) : status;
}

enum store_status outbox_find(struct store *store, const char *id,
                              struct outbox_message **message) {
    sqlite3_stmt *get;
    enum store_status status =
        store_ask(store, "SELECT " COLUMNS " FROM outbox WHERE id = ?1", VALUES(TEXT(id)), &get);
    return status == STORE_OK ? get_one(store, get, message) : status;
}

enum store_status outbox_counts(struct store *store, int64_t counts[3]) {
    sqlite3_stmt *get;
    enum store_status status = store_ask(
        store,
        "SELECT value FROM totals WHERE name BETWEEN 'outbox 0' AND 'outbox 2' ORDER BY name",
        NO_VALUES, &get);
    if (status != STORE_OK)
        return status;
    int64_t got[3] = {0, 0, 0};
    for (int i = 0; i < 3; i++) {
        status = store_row(store, get);
        if (status != STORE_OK)
            return status == STORE_NOT_FOUND ? store_failure(store, SQLITE_CORRUPT) : status;
        got[i] = sqlite3_column_int64(get, 0);
    }
    sqlite3_reset(get);
    memcpy(counts, got, sizeof got);
    return STORE_OK;
}

enum store_status outbox_waiting(struct store *store, const char *contact, int64_t *rows,
                                 int64_t *oldest_ms) {
    sqlite3_stmt *waiting;
    enum store_status status = store_first(
        store,
        "SELECT count(*), coalesce((SELECT created_ms FROM outbox WHERE row = (SELECT min(row) "
        "FROM outbox WHERE state = 0 AND contact = ?1)), 0) FROM outbox "
        "WHERE state = 0 AND contact = ?1",
        VALUES(TEXT(contact)), &waiting);
    if (status != STORE_OK)
        return status;
    *rows = sqlite3_column_int64(waiting, 0);
    *oldest_ms = sqlite3_column_int64(waiting, 1);
    sqlite3_reset(waiting);
    return STORE_OK;
}

/* ---- written, or put off, by a clock that was ahead ---- */

enum store_status outbox_newest(struct store *store, int64_t *created_ms) {
    return store_get_integer(store, "SELECT created_ms FROM outbox ORDER BY row DESC LIMIT 1",
                             NO_VALUES, created_ms);
}

enum store_status outbox_clock_back(struct store *store, int64_t now_ms, int64_t ahead_ms) {
    /* Quiet hours hold back what was never tried, is not of high priority, and for a day at most
       (25 h long). */
    enum store_status status =
        store_do(store,
                 "UPDATE outbox INDEXED BY outbox_waiting SET not_before_ms = not_before_ms - ?2 "
                 "WHERE state = 0 AND created_ms <= ?1 AND not_before_ms > ?1 AND "
                 "(tries > 0 OR priority = 2 OR not_before_ms > ?1 + 90000000)",
                 VALUES(INT(now_ms), INT(ahead_ms)));
    /* The newest rows are those that it wrote. */
    THEN(status, store_do(store,
                          "UPDATE outbox SET created_ms = min(created_ms - ?2, ?1), "
                          "not_before_ms = not_before_ms - ?2, done_ms = min(done_ms, ?1) "
                          "WHERE created_ms > ?1 AND row > coalesce((SELECT row FROM outbox WHERE "
                          "created_ms <= ?1 ORDER BY row DESC LIMIT 1), 0)",
                          VALUES(INT(now_ms), INT(ahead_ms))));
    return status;
}
