#include "tool/export.h"

#include "measure/timestamp.h"
#include "tool/ctl_client.h"
#include "tool/values.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct export {
    struct ctl *ctl;
    FILE *out;
    const char *system;
    json_t *quantities; /* quantity by point, for units that SenML words by what they measure */
    char *point;        /* SenML: the point whose base fields hold */
    int64_t base_ms;
    bool senml, any;
    bool damaged; /* a day in between could not be read */
};

/* The shortest text that reads back as the same number. */
static char *write_number(char *text, size_t size, double value) {
    for (int digits = 15; digits <= 17; digits++) {
        snprintf(text, size, "%.*g", digits, value);
        if (strtod(text, NULL) == value)
            break;
    }
    return text;
}

/* The SenML registry (RFC 8428 section 12.1) has its own words for some; Bq/m3 is not in it. */
static const char *senml_unit_word(const struct export *export, const char *point,
                                   const char *unit) {
    const char *quantity = ctl_text_of(export->quantities, point);
    if (strcmp(unit, "degC") == 0)
        return "Cel";
    if (strcmp(unit, "%") == 0 && strcmp(quantity, "humidity") == 0)
        return "%RH";
    if (strcmp(unit, "%") == 0 && strcmp(quantity, "battery") == 0)
        return "%EL";
    return unit;
}

static void write_csv(struct export *export, const json_t *reading, const char *value) {
    if (!export->any)
        fprintf(export->out, "time,system,point,value,unit\n");
    fprintf(export->out, "%s,%s,%s,%s,%s\n", ctl_text_of(reading, "time"), export->system,
            ctl_text_of(reading, "point"), value, ctl_text_of(reading, "unit"));
}

static bool begin_point(struct export *export, const char *point, int64_t time_ms) {
    free(export->point);
    export->point = strdup(point);
    export->base_ms = time_ms - time_ms % 1000;
    return export->point != NULL;
}

/* Base fields stand in the first record of a point; ids hold only characters SenML allows. */
static void write_senml(struct export *export, const json_t *reading, const char *value) {
    const char *point = ctl_text_of(reading, "point"), *time = ctl_text_of(reading, "time");
    int64_t time_ms = 0;
    fprintf(export->out, "%s", export->any ? ",\n" : "[\n");
    timestamp_parse(time, strlen(time), &time_ms);
    bool same_point = export->point && strcmp(export->point, point) == 0;
    if (!same_point && begin_point(export, point, time_ms))
        fprintf(export->out, "{\"bn\":\"%s/%s\",\"bu\":\"%s\",\"bt\":%lld,", export->system, point,
                senml_unit_word(export, point, ctl_text_of(reading, "unit")),
                (long long)(export->base_ms / 1000));
    else
        fprintf(export->out, "{");
    int64_t after_ms = time_ms - export->base_ms;
    if (after_ms % 1000 != 0)
        fprintf(export->out, "\"t\":%lld.%03lld,", (long long)(after_ms / 1000),
                (long long)(after_ms % 1000));
    else if (after_ms != 0)
        fprintf(export->out, "\"t\":%lld,", (long long)(after_ms / 1000));
    fprintf(export->out, "\"v\":%s}", value);
}

static void write_page(struct export *export, const json_t *readings) {
    const json_t *reading;
    char value[40];
    size_t i;
    json_array_foreach(readings, i, reading) {
        write_number(value, sizeof value, ctl_number_of(reading, "value"));
        if (export->senml)
            write_senml(export, reading, value);
        else
            write_csv(export, reading, value);
        export->any = true;
    }
}

static void write_end(const struct export *export) {
    if (export->senml)
        fprintf(export->out, "%s", export->any ? "\n]\n" : "[]\n");
    else if (!export->any)
        fprintf(export->out, "time,system,point,value,unit\n");
}

static bool learn_quantities(struct export *export) {
    struct ctl_path path = ctl_path_of("/api/systems/", export->system, "");
    json_t *system = ctl_ask(export->ctl, path.text), *point;
    size_t i;
    export->quantities = json_object();
    json_array_foreach(json_object_get(system, "points"), i, point)
        ctl_set(export->quantities, ctl_text_of(point, "id"), ctl_text_of(point, "quantity"));
    json_decref(system);
    return system != NULL;
}

static enum ctl_status run(struct export *export, const char *point, const char *from,
                           const char *to) {
    struct ctl_path query = ctl_path("/api/readings");
    ctl_path_query(&query, "system", export->system);
    ctl_path_query(&query, "point", point);
    ctl_path_query(&query, "from", from);
    ctl_path_query(&query, "to", to);
    ctl_path_query(&query, "limit", "20000");
    json_t *next = json_null();
    do {
        struct ctl_path path = query;
        ctl_path_query(&path, "after", json_is_string(next) ? json_string_value(next) : NULL);
        json_decref(next);
        json_t *page = ctl_ask(export->ctl, path.text);
        if (!page)
            return CTL_FAILED;
        write_page(export, json_object_get(page, "readings"));
        export->damaged |= json_is_true(json_object_get(page, "damaged"));
        next = json_incref(json_object_get(page, "next"));
        json_decref(page);
    } while (json_is_string(next) && !ferror(export->out));
    json_decref(next);
    write_end(export);
    if (export->damaged)
        return ctl_error(export->ctl, CTL_FAILED,
                         "days are left out, for they are damaged in the store; their names: "
                         "subslabctl verify");
    return CTL_DONE;
}

enum ctl_status ctl_export_csv(struct ctl *ctl, const char *system, const char *from, FILE *out) {
    struct export export = {.ctl = ctl, .out = out, .system = system};
    return run(&export, NULL, from, NULL);
}

enum ctl_status ctl_export(struct ctl *ctl, const struct ctl_arguments *given) {
    const char *as = ctl_option(given, "--as");
    bool senml = as && strcmp(as, "senml") == 0;
    if (as && !senml && strcmp(as, "csv") != 0)
        return ctl_error(ctl, CTL_WRONG_USE, "--as %s; allowed: csv, senml", as);
    struct export export = {
        .ctl = ctl, .out = stdout, .system = given->operands[0], .senml = senml};
    char *slash = strchr(given->operands[0], '/');
    if (slash)
        *slash = '\0';
    enum ctl_status status = CTL_FAILED;
    if (!senml || learn_quantities(&export))
        status = run(&export, slash ? slash + 1 : NULL, ctl_option(given, "--from"),
                     ctl_option(given, "--to"));
    json_decref(export.quantities);
    free(export.point);
    return status;
}
