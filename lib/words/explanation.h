/*
 * explanation: what probably causes an alarm, as people are told it. Strings are borrowed.
 */
#ifndef WORDS_EXPLANATION_H
#define WORDS_EXPLANATION_H

#include "words/text_list.h"

#include <math.h>
#include <stdbool.h>

struct explanation {
    const char *cause; /* diagnosis_cause_word, or any words; "none": nothing to tell; or NULL */
    double confidence; /* 0 to 1; NaN: not known */
    double mean_bq_m3; /* of the days that a verdict on radon's year is from, or NaN */
    double year_lower_bq_m3, year_upper_bq_m3; /* what they say of a year's mean, 95 %, or NaN */
    int mean_days;                             /* so many */
    bool since_repair;                         /* these are the days since a repair */
    bool frost;                                /* it freezes outdoors, or may */
    struct text_list evidence, check, bring;
};

/** Nothing is known. */
static inline struct explanation explanation_none(void) {
    return (struct explanation){
        .confidence = NAN, .mean_bq_m3 = NAN, .year_lower_bq_m3 = NAN, .year_upper_bq_m3 = NAN};
}

#endif
