/*
 * evidence: the sentence of a fact, and the words of causes and of what to check and to bring, in
 * any language. Pure.
 */
#ifndef WORDS_EVIDENCE_H
#define WORDS_EVIDENCE_H

#include "diagnosis/diagnosis_fact.h"
#include "measure/unit.h"

/** "Suction is 0.62 inH2O, 56 % of the 1.1 inH2O at commissioning." The caller frees; NULL when
 *  out of memory. */
char *evidence_sentence(size_t language, enum unit_system units, const struct diagnosis_fact *fact);

/** "Switch, plug, breaker and any ground-fault outlet on the fan's circuit"; static text. */
const char *evidence_item(size_t language, enum visit_item item);

#define EVIDENCE_CLAIM_BYTES 400
/** A claim (diagnosis_claim): "LEAK; or: FAN". What is none of them is told as it is. */
const char *evidence_claim_text(char text[EVIDENCE_CLAIM_BYTES], size_t language,
                                const char *claim);

#endif
