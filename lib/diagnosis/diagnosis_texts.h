/*
 * diagnosis_texts: every word that a diagnosis says, in one place so that it can be translated.
 * English, in the words of the trade, for the technician.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_TEXTS_H
#define DIAGNOSIS_DIAGNOSIS_TEXTS_H

#include "analysis/ground.h"
#include "diagnosis/diagnosis.h"

#define DIAGNOSIS_TEXTS_PER_CAUSE 6

/** Words of one cause; unused entries of the lists are NULL. */
struct diagnosis_cause_texts {
    const char *word, *text;
    const char *reasoning; /* why the measurements point to it; NULL: none */
    const char *check[DIAGNOSIS_TEXTS_PER_CAUSE];
    const char *bring[DIAGNOSIS_TEXTS_PER_CAUSE];
};
const struct diagnosis_cause_texts *diagnosis_cause_texts(enum diagnosis_cause cause);

/** Cautions that go with every check that changes a system. */
extern const char *const diagnosis_text_back_draft;
extern const char *const diagnosis_text_electrician;

/* Each writes one sentence, cut at `size`. Values in SI; `units` is what the reader wants. */

/** "Suction is 0.62 inH2O, 56 % of the 1.1 inH2O at commissioning." `name` NULL: the quantity's. */
void diagnosis_text_ratio(char *text, size_t size, enum quantity quantity, const char *name,
                          const struct diagnosis_signal *signal, enum unit_system units);
void diagnosis_text_silent(char *text, size_t size, enum quantity quantity, const char *name);
void diagnosis_text_speed(char *text, size_t size, const struct fan_speed_ratio *speed);
void diagnosis_text_ground(char *text, size_t size, const struct ground_ratio *ground);
void diagnosis_text_frost(char *text, size_t size, double lowest_celsius, enum unit_system units);
void diagnosis_text_stack(char *text, size_t size, double more_pa);
void diagnosis_text_water(char *text, size_t size, double level_m, double limit_m,
                          enum unit_system units);
void diagnosis_text_unit(char *text, size_t size, enum quantity quantity, double factor);
void diagnosis_text_span(char *text, size_t size, double span_days);
void diagnosis_text_deciding(char *text, size_t size, enum quantity quantity,
                             enum diagnosis_cause one, enum diagnosis_cause other);
void diagnosis_text_alternative(char *text, size_t size, enum diagnosis_cause cause,
                                double confidence);
void diagnosis_text_refused(char *sentence, size_t size);
void diagnosis_text_nothing(char *text, size_t size);
/** What the daily speed of the fan does; `per_year` below 0, 1 as at commissioning. */
void diagnosis_text_fading(char *sentence, size_t size, double per_year);

#endif
