/* diagnosis_bench: inputs of a diagnosis, and what its sentences claim. */
#ifndef DIAGNOSIS_BENCH_H
#define DIAGNOSIS_BENCH_H

#include "diagnosis/diagnosis.h"
#include "diagnosis/diagnosis_claim.h"
#include "test_support.h"
#include "words/evidence.h"
#include "words/wording_texts.h"

#include <math.h>
#include <stdlib.h>

#define NOT_MEASURED (-1.0)

static inline struct diagnosis_signal of(double baseline, double ratio) {
    return (struct diagnosis_signal){.now = ratio == NOT_MEASURED ? NAN : baseline * ratio,
                                     .baseline = baseline};
}

static inline struct diagnosis_input case_input(double suction, double flow, double power) {
    struct diagnosis_input input = diagnosis_input_empty();
    input.suction = of(274.0, suction);
    input.flow = of(0.0194, flow);
    input.power = of(22.0, power);
    input.suction.unit = unit_find("inH2O", 5);
    input.asked.alarm_stands = true;
    return input;
}

/* In English, until the next call. */
static inline const char *sentence_in(enum unit_system units, const struct diagnosis *diagnosis,
                                      size_t i) {
    static char *text;
    free(text);
    text = evidence_sentence(WORDING_ENGLISH, units, &diagnosis->evidence[i]);
    ck_assert_ptr_nonnull(text);
    return text;
}

static inline const char *sentence(const struct diagnosis *diagnosis, size_t i) {
    return sentence_in(UNIT_SYSTEM_US, diagnosis, i);
}

static inline const char *claim_of(const struct diagnosis_input *input) {
    static char claim[DIAGNOSIS_CLAIM_BYTES];
    struct diagnosis diagnosis;
    diagnosis_make(input, &diagnosis);
    return diagnosis_claim(&diagnosis, claim);
}

#endif
