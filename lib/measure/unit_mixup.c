#include "measure/unit_mixup.h"

#include <assert.h>
#include <string.h>

/* "mbar" is another word for hPa. */
static const char *const shown[] = {
    "Pa",   "hPa", "kPa",  "inH2O", "mmH2O", "psi", "inHg", "Bq/m3", "pCi/L", "cfm",
    "m3/h", "L/s", "m3/s", "W",     "kW",    "mW",  "A",    "mA",    "degC",  "degF",
    "K",    "m",   "cm",   "mm",    "in",    "ft",  "V",    "mV",    "%",     "/"};

const struct unit *unit_mixup_other(const struct unit *declared, size_t i) {
    assert(declared);
    for (size_t j = 0; j < sizeof shown / sizeof shown[0]; j++) {
        const struct unit *unit = unit_find(shown[j], strlen(shown[j]));
        if (!unit || unit->dimension != declared->dimension ||
            (unit->scale == declared->scale && unit->offset == declared->offset))
            continue;
        if (i == 0)
            return unit;
        i--;
    }
    return NULL;
}

double unit_mixup_seen(const struct unit *declared, const struct unit *sent, double si) {
    return unit_to_si(declared, unit_from_si(sent, si));
}
