/*
 * diagnosis_fact: one thing that speaks for or against a cause, as numbers; its sentence is each
 * language's (words/evidence.h). So what is stored with an alarm can be told to anybody. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_FACT_H
#define DIAGNOSIS_DIAGNOSIS_FACT_H

#include "analysis/fan.h"
#include "diagnosis/diagnosis_cause.h"
#include "measure/quantity.h"
#include "measure/unit.h"

/* X(NAME, "word in stores"), behind it the members that count */
#define DIAGNOSIS_FACTS(X)                                                                         \
    X(RATIO, "ratio")               /* quantity, name; now and at commissioning */                 \
    X(RATIO_BEFORE, "ratio-before") /* the same against before the change */                       \
    X(JUMP, "jump")                 /* as ratio, where a share would say nothing */                \
    X(JUMP_BEFORE, "jump-before")                                                                  \
    X(SILENT, "silent")           /* quantity, name */                                             \
    X(SPEED, "speed")             /* ratio, lower, upper; method */                                \
    X(GROUND, "ground")           /* ratio, lower, upper */                                        \
    X(FROST, "frost")             /* lowest, degrees Celsius */                                    \
    X(STACK, "stack")             /* Pa */                                                         \
    X(WATER, "water")             /* level and limit, m */                                         \
    X(UNIT, "unit")               /* quantity; declared, sent */                                   \
    X(REASONING, "reasoning")     /* cause */                                                      \
    X(AT_ONCE, "at-once")         /* hours */                                                      \
    X(SLOWLY, "slowly")           /* days */                                                       \
    X(LAST_YEAR, "last-year")     /* count: month, 1 to 12 */                                      \
    X(ALSO, "also")               /* cause; its probability */                                     \
    X(DECIDING, "deciding")       /* quantity that would tell cause and other */                   \
    X(OPEN, "open")               /* several fit, and no sensor would tell */                      \
    X(OWN_FALL, "own-fall")       /* quantity, name of the region; own and theirs as               \
                                     logarithms of ratios; days, count: houses */                  \
    X(OWN_RISE, "own-rise")       /* the same: the neighbours did not */                           \
    X(SHARED_FALL, "shared-fall") /* the neighbours as well */                                     \
    X(SHARED_RISE, "shared-rise")                                                                  \
    X(OTHER_UNIT, "other-unit")                                                                    \
    X(REFUSED, "refused")                                                                          \
    X(NOTHING, "nothing") /* nothing can be compared */                                            \
    X(FADING, "fading")   /* share a year by which the speed falls, above 0 */

#define DIAGNOSIS_FACT_ROW(name, word) FACT_##name,
enum diagnosis_fact_kind { DIAGNOSIS_FACTS(DIAGNOSIS_FACT_ROW) FACT_COUNT };
#undef DIAGNOSIS_FACT_ROW

struct diagnosis_fact {
    enum diagnosis_fact_kind kind;
    enum quantity quantity;
    char name[64];    /* of a hole, a branch or a region; "": none */
    double values[3]; /* in the order above; SI */
    int days, count;
    enum fan_method method;
    enum diagnosis_cause cause, other;
    const struct unit *declared, *sent;
};

/** "ratio": as a store keeps it. */
const char *diagnosis_fact_word(enum diagnosis_fact_kind kind);
/** FACT_COUNT when it is none of them. */
enum diagnosis_fact_kind diagnosis_fact_find(const char *word);

#endif
