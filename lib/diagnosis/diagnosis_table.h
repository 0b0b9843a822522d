/*
 * signature_table: what each cause of trouble does to the measured values, one row for one way in
 * which it can come about. Ranges and shares: reasoning from fan and system curves, no source.
 */
#ifndef DIAGNOSIS_DIAGNOSIS_TABLE_H
#define DIAGNOSIS_DIAGNOSIS_TABLE_H

#include "diagnosis/diagnosis.h"

enum lever {
    LEVER_USUAL,      /* nothing moved; the ground varies as it does over the seasons */
    LEVER_SPEED,      /* fan speed ratio */
    LEVER_RESISTANCE, /* resistance before the gauge, all of the air passes the flow sensor */
    LEVER_LEAK_ABOVE, /* the same, but the leak is between flow sensor and fan */
    LEVER_DISCHARGE, /* resistance after the gauge, in suction over flow squared of commissioning */
    LEVER_STOP,      /* no air moves, or by the draft of a warm riser alone */
    LEVER_ANYTHING   /* no prediction: every value as likely as any other */
};

enum field_rule {
    FIELD_FOLLOWS_SUCTION,
    FIELD_FOLLOWS_SOIL_FLOW, /* the blockage takes the suction: the soil sees only the flow */
    FIELD_PARTLY_LOST,       /* follows suction or falls further, each hole differently */
    FIELD_ALL_LOST,          /* every hole low or turned, as by an exhaust fan in the house */
    FIELD_SOME_LOST,         /* at least one hole low, the others follow suction */
    FIELD_GONE               /* what the stack effect leaves: nothing, or below */
};

enum power_rule { POWER_BY_LAWS, POWER_HELD, POWER_NONE };
enum radon_rule { RADON_USUAL, RADON_MAY_RISE, RADON_RISES };

struct signature {
    double weight;   /* share of this way among the ways of the cause */
    double from, to; /* of the lever, on a logarithmic scale; none for usual, stop and anything */
    double creeping_from; /* of what is found by its slope; 0: as `from` */
    double misread_from, misread_to;
    size_t hole;           /* of a misread QUANTITY_FIELD */
    enum quantity misread; /* sensor whose reading is multiplied; QUANTITY_COUNT: none */
    enum diagnosis_cause cause;
    enum lever lever;
    enum field_rule field;
    enum power_rule power;
    enum radon_rule radon;
};

const struct signature *signature_table(size_t *count);

#endif
