/*
 * refusal: why a message or a reading was not taken. The words are those of `subslabctl refused`.
 */
#ifndef MEASURE_REFUSAL_H
#define MEASURE_REFUSAL_H

enum refusal {
    REFUSAL_NONE = 0,
    REFUSAL_EMPTY,          /* "empty" */
    REFUSAL_TOO_LARGE,      /* "too-large": over 64 KiB */
    REFUSAL_TOO_DEEP,       /* "too-deep": nested deeper than 32 */
    REFUSAL_MALFORMED,      /* "malformed": begins like JSON and is none */
    REFUSAL_INVALID_UTF8,   /* "invalid-utf8" */
    REFUSAL_VALUE_MISSING,  /* "value-missing": the pointer leads nowhere */
    REFUSAL_NOT_A_NUMBER,   /* "not-a-number" */
    REFUSAL_NOT_FINITE,     /* "not-finite" */
    REFUSAL_OUT_OF_RANGE,   /* "out-of-range": physically impossible */
    REFUSAL_UNKNOWN_UNIT,   /* "unknown-unit" */
    REFUSAL_WRONG_UNIT,     /* "wrong-unit": of another kind than the point's */
    REFUSAL_TIME_MALFORMED, /* "time-malformed": missing, no offset, not a time */
    REFUSAL_TIME_AMBIGUOUS, /* "time-ambiguous": without offset, in the hour that comes twice */
    REFUSAL_TIME_IN_FUTURE, /* "time-in-future": more than 5 min ahead */
    REFUSAL_TOO_OLD,        /* "too-old": older than keep_readings */
    REFUSAL_UNKNOWN_SENML,  /* "unknown-senml": a field ending in "_", or another version */
    REFUSAL_CONFLICT,       /* "conflict": other value for a time that is taken */
    REFUSAL_SET_ASIDE,      /* "set aside": in hand when the program died, twice */
    REFUSAL_COUNT
};

/** The word of a reason, "out-of-range". */
const char *refusal_word(enum refusal refusal);

#endif
