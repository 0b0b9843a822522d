/*
 * fuzz_system_description: any bytes as a system file and, for the same bytes, as a commissioning
 * record of a fixed system and as a fan model. Either a result or a reason, never both, never
 * neither.
 */
#include "measure/time_zone.h"
#include "settings/system_description.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length);

static const char house_text[] = "id: h\npoints:\n- {id: suction, quantity: suction}\n"
                                 "- {id: radon, quantity: radon}\n"
                                 "- {id: cell, quantity: battery, unit: V}\n";

static void check_system(const char *text, size_t length) {
    struct settings_errors errors = {0};
    struct system_description *system =
        system_description_parse("fuzz.yaml", text, length, NULL, &errors);
    if ((system == NULL) != (errors.count > 0))
        abort();
    if (system)
        system_descriptions_check(&system, 1, NULL, &errors);
    system_description_free(system);
    settings_errors_free(&errors);
}

static void check_record(const char *text, size_t length) {
    static struct system_description *house;
    static struct time_zone *utc;
    struct settings_errors errors = {0};
    if (!house) {
        house = system_description_parse("house", house_text, strlen(house_text), NULL, &errors);
        utc = time_zone_create_utc();
    }
    if (!house || !utc)
        abort();
    struct commissioning *record =
        commissioning_parse("fuzz.yaml", text, length, house, utc, INT64_MAX, &errors);
    if ((record == NULL) != (errors.count > 0))
        abort();
    commissioning_free(record);
    settings_errors_free(&errors);
}

static void check_fan(const char *text, size_t length) {
    struct settings_errors errors = {0};
    struct fan_model *model = fan_model_parse("fuzz.yaml", text, length, &errors);
    struct fan_models models = {.models = malloc(sizeof(struct fan_model *)), .count = 1};
    if ((model == NULL) != (errors.count > 0) || !models.models)
        abort();
    models.models[0] = model;
    models.count = model != NULL;
    fan_models_clear(&models);
    settings_errors_free(&errors);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length) {
    check_system((const char *)bytes, length);
    check_record((const char *)bytes, length);
    check_fan((const char *)bytes, length);
    return 0;
}
