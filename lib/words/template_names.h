/*
 * template_names: the placeholders that a contact's template may hold, {{text}} and so on. One list
 * for the settings, which check them, and for the rendering. X(NAME, "name", kind): kind is STRING
 * or NUMBER, what it becomes in JSON.
 */
#ifndef WORDS_TEMPLATE_NAMES_H
#define WORDS_TEMPLATE_NAMES_H

#define TEMPLATE_NAMES(X)                                                                          \
    X(TEXT, "text", STRING)     /* the message in the contact's words */                           \
    X(ID, "id", STRING)         /* event id, the same for every try */                             \
    X(TYPE, "type", STRING)     /* "subslab.alarm.raised" */                                       \
    X(SYSTEM, "system", STRING) /* id of the system */                                             \
    X(NAME, "name", STRING)     /* its name */                                                     \
    X(ADDRESS, "address", STRING)                                                                  \
    X(POINT, "point", STRING)                                                                      \
    X(CONDITION, "condition", STRING) /* "suction-lost" */                                         \
    X(PRIORITY, "priority", STRING)                                                                \
    X(STATE, "state", STRING)                                                                      \
    X(VALUE, "value", NUMBER) /* SI; null where there is none */                                   \
    X(UNIT, "unit", STRING)   /* SI word */                                                        \
    X(SINCE, "since", STRING) /* RFC 3339, as are the next two */                                  \
    X(RAISED, "raised", STRING)                                                                    \
    X(RETURNED, "returned", STRING)                                                                \
    X(DIAGNOSIS, "diagnosis", STRING)                                                              \
    X(CHECK, "check", STRING)     /* one a line */                                                 \
    X(BRING, "bring", STRING)     /* one a line */                                                 \
    X(CONTACT, "contact", STRING) /* id of the contact */

#define TEMPLATE_ENUM_ROW(symbol, name, kind) TEMPLATE_##symbol,
enum template_name { TEMPLATE_NAMES(TEMPLATE_ENUM_ROW) TEMPLATE_NAME_COUNT };
#undef TEMPLATE_ENUM_ROW

#endif
