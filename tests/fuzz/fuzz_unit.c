/* Numbers, units and spans from any text. The first byte chooses the dimension. */
#include "measure/decimal.h"
#include "measure/duration.h"
#include "measure/unit.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void fuzz_number(const char *text, size_t length) {
    double value = 0.0;
    const char *end = NULL;
    if (unit_parse_number(text, length, &value, &end) != UNIT_OK)
        return;
    assert(isfinite(value) && end > text && end <= text + length);
    char copy[4096];
    size_t used = (size_t)(end - text);
    if (used >= sizeof(copy))
        return;
    memcpy(copy, text, used);
    copy[used] = '\0';
    assert(strtod(copy, NULL) == value); /* the process runs in the C locale */
}

static void fuzz_value(const char *text, enum dimension dimension) {
    double si = 0.0;
    char shown[64];
    if (unit_parse(text, dimension, &si) != UNIT_OK)
        return;
    assert(isfinite(si));
    for (int system = UNIT_SYSTEM_US; system <= UNIT_SYSTEM_SI; system++) {
        unit_format(shown, sizeof(shown), si, dimension, (enum unit_system)system);
        assert(strlen(shown) < sizeof(shown) && strcmp(shown, "-0") != 0);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    if (size == 0)
        return 0;
    size_t length = size - 1;
    char *text = malloc(length + 1);
    if (!text)
        return 0;
    memcpy(text, data + 1, length);
    text[length] = '\0';
    fuzz_value(text, (enum dimension)(data[0] % DIMENSION_COUNT));
    int64_t span_ms = -1;
    if (duration_parse(text, &span_ms))
        assert(span_ms >= 0);
    free(text);

    char *exact = malloc(length ? length : 1); /* not terminated: reads beyond it are seen */
    if (!exact)
        return 0;
    memcpy(exact, data + 1, length);
    fuzz_number(exact, length);
    unit_find(exact, length);
    free(exact);
    return 0;
}
