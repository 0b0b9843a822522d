#include "measure/refusal.h"

#include <stddef.h>

static const char *const words[REFUSAL_COUNT] = {
    [REFUSAL_NONE] = "none",
    [REFUSAL_EMPTY] = "empty",
    [REFUSAL_TOO_LARGE] = "too-large",
    [REFUSAL_TOO_DEEP] = "too-deep",
    [REFUSAL_MALFORMED] = "malformed",
    [REFUSAL_INVALID_UTF8] = "invalid-utf8",
    [REFUSAL_VALUE_MISSING] = "value-missing",
    [REFUSAL_NOT_A_NUMBER] = "not-a-number",
    [REFUSAL_NOT_FINITE] = "not-finite",
    [REFUSAL_OUT_OF_RANGE] = "out-of-range",
    [REFUSAL_UNKNOWN_UNIT] = "unknown-unit",
    [REFUSAL_WRONG_UNIT] = "wrong-unit",
    [REFUSAL_TIME_MALFORMED] = "time-malformed",
    [REFUSAL_TIME_AMBIGUOUS] = "time-ambiguous",
    [REFUSAL_TIME_IN_FUTURE] = "time-in-future",
    [REFUSAL_TOO_OLD] = "too-old",
    [REFUSAL_UNKNOWN_SENML] = "unknown-senml",
    [REFUSAL_CONFLICT] = "conflict",
    [REFUSAL_SET_ASIDE] = "set aside",
};

const char *refusal_word(enum refusal refusal) {
    size_t i = (size_t)refusal;
    return i < REFUSAL_COUNT ? words[i] : "unknown";
}
