/* Part of outbox: messages that were written, or put off, by a clock that was ahead. */
#include "store/outbox.h"
#include "store/store_sqlite.h"

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
