#include "words/wording_texts.h"

#include "diagnosis/diagnosis_claim.h"

#include <string.h>

static const enum wording_advice advice_of[CONDITION_COUNT] = {
    [CONDITION_SUCTION_LOST] = ADVICE_FAN,
    [CONDITION_SUCTION_LOW] = ADVICE_WEAK,
    [CONDITION_SUCTION_HIGH] = ADVICE_BLOCK,
    [CONDITION_SUCTION_FADING] = ADVICE_WEAK,
    [CONDITION_FIELD_WEAK] = ADVICE_WEAK,
    [CONDITION_FIELD_REVERSED] = ADVICE_WEAK,
    [CONDITION_FAN_STOPPED] = ADVICE_FAN,
    [CONDITION_POWER_HIGH] = ADVICE_WEAK,
    [CONDITION_FAN_WEAK] = ADVICE_WEAK,
    [CONDITION_FAN_FADING] = ADVICE_WEAK,
    [CONDITION_GROUND_CHANGED] = ADVICE_BLOCK,
    [CONDITION_RADON_HIGH] = ADVICE_RADON,
    [CONDITION_RADON_ABOVE_ACTION] = ADVICE_RADON,
    [CONDITION_RADON_RISING] = ADVICE_RADON,
    [CONDITION_WATER_HIGH] = ADVICE_WATER,
    [CONDITION_SENSOR_SILENT] = ADVICE_SENSOR,
    [CONDITION_SENSOR_STUCK] = ADVICE_SENSOR,
    [CONDITION_SENSOR_IMPLAUSIBLE] = ADVICE_SENSOR,
    [CONDITION_SENSOR_CLOCK] = ADVICE_SENSOR,
    [CONDITION_BATTERY_LOW] = ADVICE_SENSOR,
    [CONDITION_READING_DUE] = ADVICE_READING,
    [CONDITION_SYSTEM_SILENT] = ADVICE_SILENT,
    [CONDITION_FLEET_SILENT] = ADVICE_SILENT,
    [CONDITION_RETEST_DUE] = ADVICE_TEST,
    [CONDITION_VISIT_DUE] = ADVICE_VISIT,
    [CONDITION_CALIBRATION_DUE] = ADVICE_CALIBRATION,
    [CONDITION_BROKER_LOST] = ADVICE_SERVICE,
    [CONDITION_MESSAGES_REFUSED] = ADVICE_SERVICE,
    [CONDITION_STORE_FAILING] = ADVICE_SERVICE,
    [CONDITION_STORE_DAMAGED] = ADVICE_SERVICE,
    [CONDITION_DELIVERY_FAILING] = ADVICE_SERVICE,
    [CONDITION_CLOCK_JUMPED] = ADVICE_SERVICE,
    [CONDITION_READINGS_GAP] = ADVICE_SERVICE,
    [CONDITION_BACKUP_FAILING] = ADVICE_SERVICE,
};

/* The causes that are claimed; 0 when nothing is: nothing beyond the usual, unknown, undecided. */
static size_t claimed(const struct explanation *explained,
                      enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX]) {
    size_t count = explained->cause ? diagnosis_claim_causes(explained->cause, causes) : 0;
    for (size_t i = 0; i < count; i++)
        if (causes[i] == CAUSE_NONE || causes[i] == CAUSE_UNKNOWN || causes[i] == CAUSE_UNDECIDED)
            return 0;
    return count;
}

/* The first of these that a cause asks for: what could hurt or is soon looked at comes first. */
static enum wording_advice advice_of_causes(const enum diagnosis_cause *causes, size_t count) {
    bool water = false, off = false, blocked = false;
    for (size_t i = 0; i < count; i++) {
        water = water || causes[i] == CAUSE_WATER_HIGH;
        off = off || causes[i] == CAUSE_FAN_OFF;
        blocked =
            blocked || causes[i] == CAUSE_BLOCKED_BEFORE || causes[i] == CAUSE_BLOCKED_DISCHARGE;
    }
    return water ? ADVICE_WATER : off ? ADVICE_FAN : blocked ? ADVICE_BLOCK : ADVICE_WEAK;
}

/* A low suction with a leak asks for another thing than one with a fan that is off. Radon, water
   and sensors ask for the same whatever causes them, a fan without power for a look at its switch.
 */
enum wording_advice wording_advice_of(enum condition condition,
                                      const struct explanation *explained) {
    enum wording_advice advice = advice_of[condition];
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    size_t count = claimed(explained, causes);
    if (count == 0 || condition == CONDITION_FAN_STOPPED || !wording_advice_flue(advice))
        return advice;
    return advice_of_causes(causes, count);
}

const char *wording_do(size_t language, enum condition condition,
                       const struct explanation *explained, bool over) {
    const struct wording_texts *texts = wording_languages[language].texts;
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    size_t count = claimed(explained, causes);
    enum wording_advice after = wording_advice_over(condition);
    if (over)
        return after == ADVICE_DONE         ? texts->over_done
               : after == ADVICE_RADON_OVER ? texts->over_radon
                                            : texts->over_check;
    if (count == 0 || condition == CONDITION_WATER_HIGH)
        return texts->conditions[condition].action;
    return count > 1 ? texts->several_actions : texts->cause_actions[causes[0]];
}

bool wording_only_sensor(enum condition condition, const struct explanation *explained) {
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    size_t count = claimed(explained, causes), sensors = 0;
    for (size_t i = 0; i < count; i++)
        sensors += causes[i] == CAUSE_GAUGE_TUBE || causes[i] == CAUSE_UNIT_MIX_UP ||
                   causes[i] == CAUSE_SENSOR_FAULT;
    return count > 0 && sensors == count && wording_advice_flue(advice_of[condition]);
}

enum wording_advice wording_advice_over(enum condition condition) {
    switch (advice_of[condition]) {
    case ADVICE_RADON:
        return ADVICE_RADON_OVER;
    case ADVICE_TEST:
    case ADVICE_READING:
    case ADVICE_VISIT:
    case ADVICE_CALIBRATION:
        return ADVICE_DONE;
    default:
        return ADVICE_OVER;
    }
}

/* Ice closes the end of the pipe: the fan runs, and pulls less. Where another cause is likely, or
   the fan draws no power, a look at it would lead astray. */
bool wording_advice_ice(enum condition condition, const struct explanation *explained) {
    enum diagnosis_cause causes[DIAGNOSIS_CAUSES_MAX];
    bool weak = condition == CONDITION_SUCTION_LOST || condition == CONDITION_SUCTION_LOW;
    size_t count = claimed(explained, causes);
    for (size_t i = 0; i < count; i++)
        if (causes[i] == CAUSE_BLOCKED_DISCHARGE)
            return explained->frost;
    return explained->frost && weak && count == 0;
}

bool wording_advice_flue(enum wording_advice advice) {
    return advice == ADVICE_FAN || advice == ADVICE_WEAK || advice == ADVICE_BLOCK;
}
