/*
 * visit_texts: the words of visits and of their calendar entries, in one place so that they can be
 * translated. English, in the words of the trade.
 */
#ifndef WORDS_VISIT_TEXTS_H
#define WORDS_VISIT_TEXTS_H

#include "alarm/condition.h"
#include "words/text_list.h"

/** What a condition is called as the reason of a visit, and what to do when no diagnosis says more.
 */
struct visit_condition_texts {
    const char *reason; /* NULL: calls for no visit */
    struct text_list check, bring;
};
const struct visit_condition_texts *visit_condition_texts(enum condition condition);

/** Words of the calendar entry. */
struct visit_calendar_texts {
    const char *calendar_name, *visit, *reasons, *check, *bring, *baseline, *last_visit, *never,
        *latest, *priority;
};
extern const struct visit_calendar_texts visit_calendar_english;

#endif
