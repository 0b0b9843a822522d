/*
 * outbox_bundle: see the header. "Not tried" is state 0, no tries and no answer: outbox_begun
 * leaves a mark in last_answer before the first POST goes out.
 */
#include "store/outbox_bundle.h"

#include "store/store_sqlite.h"

#include <stdlib.h>
#include <string.h>

#define UNTRIED "state = 0 AND tries = 0 AND last_answer IS NULL"
#define TELLS_OF_RAISES "(o.alarm = -1 OR o.type IN ('subslab.alarm.raised', 'subslab.visit.due'))"
/* ?2: kind of bundle */
#define OF_KIND                                                                                    \
    "(alarm = ?2 OR alarm > 0 AND (?2 = -1 AND type IN ('subslab.alarm.raised', "                  \
    "'subslab.visit.due') OR ?2 = -2 AND type = 'subslab.alarm.returned'))"

enum store_status outbox_begun(struct store *store, int64_t row) {
    return store_do(store,
                    "UPDATE outbox SET last_answer = 'no answer yet' WHERE row = ?1 AND "
                    "state = 0 AND last_answer IS NULL",
                    VALUES(INT(row)));
}

enum store_status outbox_member_put(struct store *store, int64_t row,
                                    const struct outbox_member *member) {
    return store_do(
        store,
        "INSERT OR REPLACE INTO outbox_alarms (row, alarm, line, data) VALUES (?1, ?2, ?3, ?4)",
        VALUES(INT(row), INT(member->alarm), TEXT(member->line), TEXT(member->data)));
}

static enum store_status
hand_out_members(struct store *store, sqlite3_stmt *list,
                 bool (*each)(void *context, const struct outbox_member *member), void *context) {
    enum store_status status;
    while ((status = store_row(store, list)) == STORE_OK) {
        const struct outbox_member member = {
            sqlite3_column_int64(list, 0), store_column_text(list, 1), store_column_text(list, 2)};
        if (!each(context, &member))
            break;
    }
    return store_listed(list, status);
}

enum store_status outbox_members(struct store *store, int64_t row,
                                 bool (*each)(void *context, const struct outbox_member *member),
                                 void *context) {
    sqlite3_stmt *list;
    enum store_status status = store_ask(
        store, "SELECT alarm, line, data FROM outbox_alarms WHERE row = ?1 ORDER BY alarm",
        VALUES(INT(row)), &list);
    return status == STORE_OK ? hand_out_members(store, list, each, context) : status;
}

enum store_status outbox_unreached(struct store *store, const char *contact, int64_t row,
                                   bool (*each)(void *context, const struct outbox_member *member),
                                   void *context) {
    sqlite3_stmt *list;
    enum store_status status =
        store_ask(store,
                  "SELECT m.alarm, m.line, m.data FROM outbox o INDEXED BY outbox_waiting "
                  "JOIN outbox_alarms m ON m.row = o.row WHERE o.state = 0 AND o.contact = ?1 AND "
                  "(o.tries > 0 OR o.row = ?2) AND " TELLS_OF_RAISES " AND o.priority > 0 "
                  "ORDER BY o.priority DESC, m.alarm LIMIT 1000",
                  VALUES(TEXT(contact), INT(row)), &list);
    return status == STORE_OK ? hand_out_members(store, list, each, context) : status;
}

enum store_status outbox_untried(struct store *store, const char *contact, int kind, bool high,
                                 struct outbox_untried *rows, size_t capacity, size_t *count) {
    sqlite3_stmt *list;
    *count = 0;
    enum store_status status = store_ask(
        store,
        "SELECT row, created_ms, not_before_ms, alarm < 0 FROM outbox o INDEXED BY outbox_waiting "
        "WHERE contact = ?1 AND " UNTRIED " AND " OF_KIND " AND "
        "(priority = 2) = ?3 AND CASE system WHEN '' THEN row > ("
        "SELECT coalesce(max(row), 0) FROM outbox INDEXED BY outbox_waiting WHERE contact = ?1 AND "
        "system = '' AND state = 0 AND NOT (tries = 0 AND last_answer IS NULL AND " OF_KIND
        " AND (priority = 2) = ?3)) "
        "ELSE head = 1 AND NOT EXISTS (SELECT 1 FROM outbox b INDEXED BY outbox_waiting WHERE "
        "b.state = 0 AND b.contact = ?1 AND b.system = o.system AND b.row <> o.row) END "
        "ORDER BY row",
        VALUES(TEXT(contact), INT(kind), INT(high)), &list);
    if (status != STORE_OK)
        return status;
    while (*count < capacity && (status = store_row(store, list)) == STORE_OK)
        rows[(*count)++] =
            (struct outbox_untried){sqlite3_column_int64(list, 0), sqlite3_column_int64(list, 1),
                                    sqlite3_column_int64(list, 2), sqlite3_column_int(list, 3)};
    return store_listed(list, status);
}

/* ---- many into one ---- */

/* What stands behind the deleted row becomes the next of its contact and system. */
static enum store_status delete_row(struct store *store, int64_t row) {
    struct outbox_message *message = NULL;
    enum store_status status = outbox_get(store, row, &message);
    THEN(status, store_do(store, "DELETE FROM outbox WHERE row = ?1", VALUES(INT(row))));
    THEN(status, outbox_mark_head(store, message->contact, message->system));
    outbox_message_free(message);
    return status;
}

enum store_status outbox_merge(struct store *store, const struct outbox_message *message,
                               const struct outbox_untried *rows, size_t count, int64_t *row) {
    bool own;
    int64_t bundle = 0;
    enum store_status status = store_scope_begin(store, &own);
    THEN(status, outbox_insert(store, message, &bundle));
    for (size_t i = 0; i < count && status == STORE_OK; i++) {
        status = store_do(store, "UPDATE OR REPLACE outbox_alarms SET row = ?2 WHERE row = ?1",
                          VALUES(INT(rows[i].row), INT(bundle)));
        THEN(status, delete_row(store, rows[i].row));
    }
    if (status == STORE_OK && row)
        *row = bundle;
    return store_scope_end(store, own, status);
}

enum store_status outbox_replace(struct store *store, int64_t row, const char *type,
                                 const char *content_type, const char *body) {
    enum store_status status =
        store_do(store,
                 "UPDATE outbox SET type = ?2, content_type = ?3, body = ?4 "
                 "WHERE row = ?1 AND " UNTRIED,
                 VALUES(INT(row), TEXT(type), TEXT(content_type), TEXT(body)));
    THEN(status, sqlite3_changes(store->db) > 0 ? STORE_OK : STORE_NOT_FOUND);
    return status;
}

enum store_status outbox_release(struct store *store, int64_t row, int64_t not_before_ms) {
    return store_do(store,
                    "UPDATE outbox SET not_before_ms = min(not_before_ms, ?2) "
                    "WHERE row = ?1 AND " UNTRIED,
                    VALUES(INT(row), INT(not_before_ms)));
}

/* ---- what was told ---- */

static void note_told(sqlite3_stmt *list, struct outbox_told *told) {
    const char *type = store_column_text(list, 4);
    int64_t created_ms = sqlite3_column_int64(list, 1), alarm = sqlite3_column_int64(list, 2);
    bool raised = alarm == OUTBOX_RAISES || strcmp(type, "subslab.alarm.raised") == 0 ||
                  strcmp(type, "subslab.visit.due") == 0;
    bool escalated = strcmp(type, "subslab.alarm.escalated") == 0;
    told->shared |= sqlite3_column_int(list, 3) == OUTBOX_WAITING && !*store_column_text(list, 6);
    if (told->rows++ == 0)
        told->first_ms = created_ms;
    if (escalated)
        told->escalated_ms = created_ms;
    if (raised || escalated || strcmp(type, "subslab.alarm.reminder") == 0)
        told->last_ms = created_ms;
    if (!raised)
        return;
    told->raise = sqlite3_column_int64(list, 0);
    told->raise_waits = sqlite3_column_int(list, 3) == OUTBOX_WAITING;
    told->raise_untried = sqlite3_column_int(list, 5);
    told->raise_bundled = alarm == OUTBOX_RAISES;
}

enum store_status outbox_told(struct store *store, const char *contact, int64_t alarm,
                              struct outbox_told *told) {
    sqlite3_stmt *list;
    *told = (struct outbox_told){.rows = 0};
    enum store_status status = store_ask(
        store,
        "SELECT o.row, o.created_ms, o.alarm, o.state, o.type, " UNTRIED
        ", o.system FROM outbox_alarms m "
        "JOIN outbox o ON o.row = m.row WHERE m.alarm = ?1 AND o.contact = ?2 ORDER BY o.row",
        VALUES(INT(alarm), TEXT(contact)), &list);
    if (status != STORE_OK)
        return status;
    while ((status = store_row(store, list)) == STORE_OK)
        note_told(list, told);
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

enum store_status outbox_bundles(struct store *store, const char *contact, int kind, bool high,
                                 int64_t since_ms, struct outbox_bundles *bundles) {
    sqlite3_stmt *list;
    *bundles = (struct outbox_bundles){.count = 0};
    enum store_status status = store_ask(
        store,
        "SELECT created_ms, not_before_ms, " UNTRIED " FROM outbox INDEXED BY outbox_bundles "
        "WHERE alarm < 0 AND alarm = ?2 AND contact = ?1 AND (priority = 2) = ?4 AND "
        "created_ms >= ?3 ORDER BY row",
        VALUES(TEXT(contact), INT(kind), INT(since_ms), INT(high)), &list);
    if (status != STORE_OK)
        return status;
    while ((status = store_row(store, list)) == STORE_OK) {
        bundles->count++;
        bundles->newest_ms = sqlite3_column_int64(list, 0);
        bundles->newest_not_before_ms = sqlite3_column_int64(list, 1);
        bundles->newest_untried = sqlite3_column_int(list, 2);
    }
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

enum store_status outbox_unreturned(struct store *store, int64_t row, int64_t near_ms,
                                    int64_t *alarms) {
    return store_get_integer(
        store,
        "SELECT count(*) FROM outbox a JOIN outbox b INDEXED BY outbox_bundles ON "
        "b.contact = a.contact AND b.alarm < 0 AND b.alarm = a.alarm AND "
        "b.created_ms BETWEEN a.created_ms - ?2 AND a.created_ms + ?2 "
        "JOIN outbox_alarms m ON m.row = b.row WHERE a.row = ?1 AND "
        "NOT EXISTS (SELECT 1 FROM outbox_alarms r JOIN outbox o ON o.row = r.row WHERE "
        "r.alarm = m.alarm AND o.contact = b.contact AND (o.alarm = -2 OR "
        "o.type = 'subslab.alarm.returned'))",
        VALUES(INT(row), INT(near_ms)), alarms);
}

enum store_status outbox_shared(struct store *store, const char *contact, const char *system,
                                bool *shared) {
    int64_t one;
    enum store_status status = store_get_integer(
        store,
        "SELECT 1 FROM outbox INDEXED BY outbox_waiting WHERE state = 0 AND "
        "contact = ?1 AND system = '' AND alarm <> 0 AND NOT EXISTS (SELECT 1 FROM "
        "outbox WHERE state = 0 AND contact = ?1 AND system = ?2) LIMIT 1",
        VALUES(TEXT(contact), TEXT(system)), &one);
    *shared = status == STORE_OK;
    return status == STORE_NOT_FOUND ? STORE_OK : status;
}

/* ---- setting aside ---- */

/* Fails the rows that a bound statement lists, at most `most`. */
static enum store_status set_aside(struct store *store, sqlite3_stmt *list, int most,
                                   int64_t now_ms, const char *answer, int *count) {
    int64_t *rows = calloc((size_t)most, sizeof *rows);
    if (!rows)
        return store_failure(store, SQLITE_NOMEM);
    enum store_status status = STORE_OK;
    int found = 0;
    while (found < most && (status = store_row(store, list)) == STORE_OK)
        rows[found++] = sqlite3_column_int64(list, 0);
    sqlite3_reset(list);
    status = status == STORE_NOT_FOUND ? STORE_OK : status;
    for (int i = 0; i < found && status == STORE_OK; i++) {
        status = outbox_failed(store, rows[i], now_ms, answer);
        *count += status == STORE_OK;
    }
    free(rows);
    return status;
}

enum store_status outbox_thin(struct store *store, const char *contact, int most, int64_t now_ms,
                              const char *answer, int *thinned) {
    sqlite3_stmt *oldest;
    *thinned = 0;
    if (most <= 0)
        return STORE_OK;
    enum store_status status = store_ask(
        store,
        "SELECT row FROM outbox INDEXED BY outbox_waiting WHERE contact = ?1 AND " UNTRIED " AND "
        "type IN ('subslab.alarm.reminder', 'subslab.alarm.acknowledged') ORDER BY row LIMIT ?2",
        VALUES(TEXT(contact), INT(most)), &oldest);
    return status == STORE_OK ? set_aside(store, oldest, most, now_ms, answer, thinned) : status;
}

enum store_status outbox_outdate(struct store *store, const char *contact, int64_t before_ms,
                                 int most, int64_t now_ms, const char *answer, int *outdated) {
    sqlite3_stmt *oldest;
    *outdated = 0;
    if (most <= 0)
        return STORE_OK;
    enum store_status status = store_ask(
        store,
        "SELECT row FROM outbox INDEXED BY outbox_waiting WHERE state = 0 AND contact = ?1 AND "
        "created_ms < ?2 ORDER BY row LIMIT ?3",
        VALUES(TEXT(contact), INT(before_ms), INT(most)), &oldest);
    return status == STORE_OK ? set_aside(store, oldest, most, now_ms, answer, outdated) : status;
}
