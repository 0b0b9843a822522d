/*
 * tool_senml: a SenML pack on standard input to lines "time name value unit", by the project's own
 * decoder, so that tests can check what other parts write.
 */
#include "measure/json_node.h"
#include "measure/senml.h"
#include "measure/timestamp.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int print_records(const struct json_node *root) {
    struct senml_pack pack;
    struct senml_record record;
    if (senml_open(&pack, root) != REFUSAL_NONE)
        return 1;
    while (senml_next(&pack, &record)) {
        char time[32], value[40];
        const struct unit *unit = NULL;
        int64_t time_ms = 0;
        bool relative = false;
        if (record.refusal != REFUSAL_NONE || !senml_time(&record, 0, &time_ms, &relative) ||
            senml_unit(record.unit.bytes, record.unit.length, QUANTITY_SUCTION, &unit) !=
                REFUSAL_NONE)
            return 1;
        for (int digits = 1; digits <= 17; digits++) {
            snprintf(value, sizeof value, "%.*g", digits, record.value);
            if (strtod(value, NULL) == record.value)
                break;
        }
        printf("%s %.*s%.*s %s %s\n", timestamp_format(time, sizeof time, time_ms),
               (int)record.base_name.length, record.base_name.length ? record.base_name.bytes : "",
               (int)record.name.length, record.name.length ? record.name.bytes : "", value,
               unit_si_word(unit->dimension));
    }
    return 0;
}

int main(void) {
    static char text[1 << 20];
    size_t length = fread(text, 1, sizeof text, stdin);
    struct json_node *root = NULL;
    if (json_node_parse(text, length, 32, &root) != REFUSAL_NONE)
        return 1;
    int status = json_node_kind(root) == JSON_NODE_ARRAY ? print_records(root) : 1;
    json_node_destroy(root);
    return status;
}
