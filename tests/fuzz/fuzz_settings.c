/*
 * fuzz_settings: any bytes as subslabd.yaml. Either settings or a reason, never both, never
 * neither.
 */
#include "settings/settings.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length);

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length) {
    struct settings_errors errors = {0};
    struct settings *settings = settings_parse("fuzz.yaml", (const char *)bytes, length, &errors);
    if ((settings == NULL) != (errors.count > 0))
        abort();
    for (size_t i = 0; i < errors.count; i++)
        for (const char *at = errors.lines[i]; *at; at++)
            if ((unsigned char)*at < 0x20 || *at == 0x7F)
                abort();
    settings_free(settings);
    settings_errors_free(&errors);
    return 0;
}
