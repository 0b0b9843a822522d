/*
 * diagnosis_likelihood: how likely a measured ratio is under what a cause predicts of it.
 * Densities; 1 for what is not measured. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_LIKELIHOOD_H
#define DIAGNOSIS_DIAGNOSIS_LIKELIHOOD_H

#include "diagnosis/diagnosis_signature.h"
#include "diagnosis/diagnosis_table.h"

double likelihood_of(const struct signature_measured *measured, double predicted);
/** Of a sensor that reads anything from `low` to `high` times the truth, all alike. */
double likelihood_misread(const struct signature_measured *measured, double predicted, double low,
                          double high);
/** Of a sensor of which nothing is predicted. */
double likelihood_any(const struct signature_measured *measured);
double likelihood_radon(const struct signature_measured *radon, enum radon_rule rule);
/** Of all holes together, by the rule of a row and the field that it predicts. */
double likelihood_field(const struct signature_evidence *evidence, const struct signature *row,
                        double predicted);
double likelihood_any_field(const struct signature_evidence *evidence);

#endif
