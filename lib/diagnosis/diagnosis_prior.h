/*
 * diagnosis_prior: how often each cause comes, before anything is measured: by the trade's
 * experience, the weather, the water, and how fast the change came. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_PRIOR_H
#define DIAGNOSIS_DIAGNOSIS_PRIOR_H

#include "diagnosis/diagnosis.h"
#include "diagnosis/diagnosis_signature.h"

/** Weights of the causes; they need not add up to 1. */
void diagnosis_prior_fill(const struct diagnosis_input *input,
                          const struct signature_evidence *evidence, double prior[CAUSE_COUNT]);

/** Asked for its slope, and it came slowly or nobody knows how. */
bool diagnosis_creeps(const struct diagnosis_input *input);
bool diagnosis_cold_season(const struct diagnosis_input *input);
bool diagnosis_water_is_high(const struct diagnosis_input *input);

#endif
