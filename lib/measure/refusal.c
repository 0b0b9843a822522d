#include "measure/refusal.h"

#include <stddef.h>

static const struct {
    const char *word, *text;
} refusals[REFUSAL_COUNT] = {
    [REFUSAL_NONE] = {"none", "taken"},
    [REFUSAL_EMPTY] = {"empty", "the message is empty"},
    [REFUSAL_TOO_LARGE] = {"too-large",
                           "larger than 64 KiB, or more readings than are taken at once"},
    [REFUSAL_TOO_DEEP] = {"too-deep", "nested deeper than 32 levels"},
    [REFUSAL_MALFORMED] = {"malformed", "neither a number nor well-formed JSON"},
    [REFUSAL_INVALID_UTF8] = {"invalid-utf8", "not valid UTF-8 text"},
    [REFUSAL_VALUE_MISSING] = {"value-missing", "no value where the point expects one"},
    [REFUSAL_NOT_A_NUMBER] = {"not-a-number", "the value is not a number"},
    [REFUSAL_NOT_FINITE] = {"not-finite", "the value is infinite, too large or not a number (NaN)"},
    [REFUSAL_OUT_OF_RANGE] = {"out-of-range", "outside what is physically possible"},
    [REFUSAL_UNKNOWN_UNIT] = {"unknown-unit", "the message states a unit that is not known"},
    [REFUSAL_WRONG_UNIT] = {"wrong-unit",
                            "the message states a unit of another kind than the point's"},
    [REFUSAL_TIME_MALFORMED] = {"time-malformed",
                                "the time is missing, has no offset or is no time"},
    [REFUSAL_TIME_IN_FUTURE] = {"time-in-future", "the time is more than 5 min ahead"},
    [REFUSAL_TOO_OLD] = {"too-old", "older than readings are kept"},
    [REFUSAL_UNKNOWN_SENML] = {"unknown-senml",
                               "SenML of another version, or with a field that must be understood"},
    [REFUSAL_CONFLICT] = {"conflict", "another value for a time that already has one"},
    [REFUSAL_SET_ASIDE] = {"set aside", "the program died twice while it had it in hand"},
};

const char *refusal_word(enum refusal refusal) {
    size_t i = (size_t)refusal;
    return i < REFUSAL_COUNT ? refusals[i].word : "unknown";
}

const char *refusal_text(enum refusal refusal) {
    size_t i = (size_t)refusal;
    return i < REFUSAL_COUNT ? refusals[i].text : "for an unknown reason";
}
