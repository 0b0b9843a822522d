#include "diagnosis/diagnosis_claim.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

static const char claim_or[] = " or ";

/* A claim that is wrong costs four times as much as none (judgement, no source): it is worth making
   from four fifths on, and the model is surer than it ought to be. */
static const double claim_least = 0.84;

double diagnosis_confidence_cap(size_t measurements) {
    static const double caps[] = {0.0, 0.6, 0.85, 0.93, 0.97};
    return caps[measurements > 4 ? 4 : measurements];
}

size_t diagnosis_claim_count(const double posterior[CAUSE_COUNT],
                             const struct diagnosis *diagnosis) {
    const struct diagnosis_candidate *candidates = diagnosis->candidates;
    double together = 0.0;
    for (size_t i = 0; i < diagnosis->candidate_count; i++) {
        if (candidates[i].cause == CAUSE_NONE || candidates[i].cause == CAUSE_UNKNOWN)
            return 0;
        together += posterior[candidates[i].cause];
        if (together >= claim_least)
            return i + 1;
    }
    return 0;
}

char *diagnosis_claim(const struct diagnosis *diagnosis, char claim[DIAGNOSIS_CLAIM_BYTES]) {
    enum diagnosis_cause first = diagnosis->cause;
    if (diagnosis->claim_count == 0 && first != CAUSE_NONE && first != CAUSE_UNKNOWN)
        first = CAUSE_UNDECIDED;
    int length = snprintf(claim, DIAGNOSIS_CLAIM_BYTES, "%s", diagnosis_cause_word(first));
    for (size_t i = 1; i < diagnosis->claim_count; i++)
        length += snprintf(claim + length, DIAGNOSIS_CLAIM_BYTES - (size_t)length, "%s%s", claim_or,
                           diagnosis_cause_word(diagnosis->candidates[i].cause));
    return claim;
}

double diagnosis_claim_confidence(const struct diagnosis *diagnosis) {
    double confidence = diagnosis->confidence;
    for (size_t i = 1; i < diagnosis->claim_count; i++)
        confidence += diagnosis->candidates[i].confidence;
    return confidence;
}

static bool cause_of_word(const char *word, size_t length, enum diagnosis_cause *cause) {
    for (int i = 0; i < CAUSE_COUNT; i++) {
        const char *known = diagnosis_cause_word((enum diagnosis_cause)i);
        if (strlen(known) == length && memcmp(known, word, length) == 0) {
            *cause = (enum diagnosis_cause)i;
            return true;
        }
    }
    return false;
}

size_t diagnosis_claim_causes(const char *claim,
                              enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX]) {
    size_t count = 0;
    for (const char *word = claim; word; count++) {
        const char *end = strstr(word, claim_or);
        size_t length = end ? (size_t)(end - word) : strlen(word);
        if (count == DIAGNOSIS_CAUSES_MAX || !cause_of_word(word, length, &causes[count]))
            return 0;
        word = end ? end + strlen(claim_or) : NULL;
    }
    return count;
}
