/*
 * diagnosis_claim: what is claimed of a diagnosis, as one word or up to three. A wrong cause sends
 * somebody out with the wrong parts and costs more than none: one cause is claimed when it is sure
 * enough, else the two or three that are sure enough together, else none. Pure.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_CLAIM_H
#define DIAGNOSIS_DIAGNOSIS_CLAIM_H

#include "diagnosis/diagnosis.h"

#define DIAGNOSIS_CLAIM_BYTES 64
/** The causes of a claim as diagnosis_claim writes it; 0: it is none. */
size_t diagnosis_claim_causes(const char *claim, enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX]);

/** The most that a confidence may be, by how many independent measurements there are. */
double diagnosis_confidence_cap(size_t measurements);

/** How many of the candidates are claimed, 0 to 3, by what each cause has before the cap. */
size_t diagnosis_claim_count(const double posterior[CAUSE_COUNT],
                             const struct diagnosis *diagnosis);

/**
 * What is claimed, for JSON and tables: "leak"; "leak or fan-worn" when it is one of both, three
 * the same way;
 * "undecided" when it can't be told; "none" or "unknown". Returns `claim`.
 */
char *diagnosis_claim(const struct diagnosis *diagnosis, char claim[DIAGNOSIS_CLAIM_BYTES]);
/** How sure that claim is, 0 to 1: of several, that it is one of them; of "undecided", the first.
 */
double diagnosis_claim_confidence(const struct diagnosis *diagnosis);

#endif
