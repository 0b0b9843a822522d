/* system_bench: the text of a system file, parsed under a fleet of its own. */
#ifndef SYSTEM_BENCH_H
#define SYSTEM_BENCH_H

#include "measure/duration.h"
#include "measure/timestamp.h"
#include "settings/system_description.h"
#include "test_support.h"

#include <string.h>

static inline struct system_description *parse_with(const struct settings *settings,
                                                    const char *file, const char *text,
                                                    struct settings_errors *errors) {
    return system_description_parse(file, text, strlen(text), settings, errors);
}

static inline struct settings *fleet(const char *text) {
    struct settings_errors errors = {0};
    struct settings *settings = settings_parse("fleet.yaml", text, strlen(text), &errors);
    ck_assert_ptr_nonnull(settings);
    return settings;
}

static inline struct fan_model *model_of(const char *file, const char *text,
                                         struct settings_errors *errors) {
    return fan_model_parse(file, text, strlen(text), errors);
}

#endif
