#include "diagnosis/diagnosis_fact.h"

#include <string.h>

#define ROW(name, word) [FACT_##name] = (word),
static const char *const words[FACT_COUNT] = {DIAGNOSIS_FACTS(ROW)};

const char *diagnosis_fact_word(enum diagnosis_fact_kind kind) {
    return words[kind];
}

enum diagnosis_fact_kind diagnosis_fact_find(const char *word) {
    int i = 0;
    while (i < FACT_COUNT && strcmp(words[i], word) != 0)
        i++;
    return (enum diagnosis_fact_kind)i;
}
