#include "tool/usage_words.h"

#include <stddef.h>
#include <string.h>

static const struct usage_meaning meanings[] = {
    {"SYSTEM", USAGE_IDS, "/api/systems", NULL, "id", "name"},
    {"SYSTEM[/POINT]", USAGE_IDS, "/api/systems", NULL, "id", "name"},
    {"S", USAGE_IDS, "/api/systems", NULL, "id", "name"},
    {"POINT", USAGE_IDS, "/api/systems/*", "points", "id", "quantity"},
    {"ALARM", USAGE_IDS, "/api/alarms", NULL, "id", "condition"},
    {"CONTACT", USAGE_IDS, "/api/deliveries?limit=200", NULL, "contact", NULL},
    {"ID", USAGE_IDS, "/api/deliveries?limit=200", NULL, "id", "contact"},
    {"VISIT", USAGE_IDS, "/api/visits", NULL, "id", "name"},
    {.word = "FILE", .kind = USAGE_FILES},
    {.word = "FOLDER", .kind = USAGE_FILES},
    {.word = "FILE.csv", .kind = USAGE_FILES},
    {.word = "READINGS.csv", .kind = USAGE_FILES},
    {.word = "OUT.csv", .kind = USAGE_FILES},
    {.word = "SYSTEM=FILE", .kind = USAGE_FILES},
    {.word = "WORD", .kind = USAGE_STATUSES},
    {.word = "WORDS", .kind = USAGE_CHANGES},
    {.word = "NAME", .kind = USAGE_FREE},
    {.word = "TEXT", .kind = USAGE_FREE},
    {.word = "TIME", .kind = USAGE_FREE},
    {.word = "DATE", .kind = USAGE_FREE},
    {.word = "FROM", .kind = USAGE_FREE},
    {.word = "TO", .kind = USAGE_FREE},
    {.word = "T", .kind = USAGE_FREE},
    {.word = "N", .kind = USAGE_FREE},
    {.word = "VALUE", .kind = USAGE_FREE},
    {.word = "POINT=VALUE", .kind = USAGE_FREE},
    {.word = "PERCENT", .kind = USAGE_FREE},
    {.word = "FAN", .kind = USAGE_FREE},
    {.word = "FILTER", .kind = USAGE_FREE},
    {.word = "YEAR", .kind = USAGE_FREE},
    {.word = "CODE", .kind = USAGE_FREE},
};

const struct usage_meaning *usage_meaning(const char *word) {
    for (size_t i = 0; i < sizeof meanings / sizeof meanings[0]; i++) {
        if (strcmp(meanings[i].word, word) == 0)
            return &meanings[i];
    }
    return NULL;
}
