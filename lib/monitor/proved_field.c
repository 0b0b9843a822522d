#include "monitor/proved_field.h"

#include "analysis/ground.h"
#include "complaints.h"

#include <math.h>

static enum ground_status fit_exponent(const struct test_holes *holes, double *exponent) {
    struct ground_state settings[TEST_SETTINGS_MAX];
    size_t count = 0;
    for (size_t i = 0; i < holes->count && count < TEST_SETTINGS_MAX; i++) {
        const struct test_setting *setting = &holes->settings[i];
        if (isfinite(setting->suction_pa) && isfinite(setting->flow_m3_s))
            settings[count++] = (struct ground_state){setting->suction_pa, setting->flow_m3_s};
    }
    return ground_exponent_fit(settings, count, exponent);
}

struct commissioning *proved_field_record(const char *file, const char *text, size_t length,
                                          const struct system_description *system,
                                          const struct time_zone *zone, int64_t now_ms,
                                          struct settings_errors *errors) {
    struct commissioning *record =
        commissioning_parse(file, text, length, system, zone, now_ms, errors);
    if (!record || isfinite(record->ground_exponent) ||
        fit_exponent(&record->test_holes, &record->ground_exponent) != GROUND_OUT_OF_RANGE)
        return record;
    settings_errors_add(errors, "%s:1: test_holes: " SAY_NO_EXPONENT, file);
    commissioning_free(record);
    return NULL;
}
