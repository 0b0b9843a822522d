#include "words/accept.h"

#include "measure/unit.h"

#include <string.h>
#include <strings.h>

/* How exactly a range of the header fits a type: 0 not, 1 any type, 2 any of its kind, 3 itself. */
static int fit(const char *range, size_t length, const char *type) {
    size_t kind = strcspn(type, "/") + 1;
    if (length == 3 && memcmp(range, "*/*", 3) == 0)
        return 1;
    if (length == kind + 1 && range[kind] == '*' && strncasecmp(range, type, kind) == 0)
        return 2;
    return length == strlen(type) && strncasecmp(range, type, length) == 0 ? 3 : 0;
}

double accept_weight(const char *parameters, const char *end, double usual) {
    for (const char *at = parameters; (at = memchr(at, ';', (size_t)(end - at)));) {
        double weight = 0.0;
        for (at++; at < end && (*at == ' ' || *at == '\t');)
            at++;
        if (end - at < 2 || (*at != 'q' && *at != 'Q') || at[1] != '=')
            continue;
        at += 2;
        size_t length = strcspn(at, ";, \t");
        length = length < (size_t)(end - at) ? length : (size_t)(end - at);
        const char *behind = at;
        return unit_parse_number(at, length, &weight, &behind) == UNIT_OK &&
                       behind == at + length && weight >= 0.0 && weight <= 1.0
                   ? weight
                   : 0.0;
    }
    return usual;
}

/* What the header says of a type by the range that fits it best; 0: it is not wanted. */
static double wanted(const char *header, const char *type) {
    double best_weight = 0.0;
    int best_fit = 0;
    for (const char *at = header; *at;) {
        at += strspn(at, ", \t");
        const char *end = at + strcspn(at, ",");
        size_t length = strcspn(at, ",; \t");
        int how = fit(at, length, type);
        if (how > best_fit) {
            best_fit = how;
            best_weight = accept_weight(at + length, end, 1.0);
        }
        at = end;
    }
    return best_weight;
}

size_t accept_choose(const char *header, const char *const *types, size_t count) {
    size_t chosen = 0;
    double most = header ? wanted(header, types[0]) : 1.0;
    for (size_t i = 1; header && i < count; i++) {
        double here = wanted(header, types[i]);
        if (here > most) {
            most = here;
            chosen = i;
        }
    }
    return chosen;
}
