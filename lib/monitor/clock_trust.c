#include "monitor/clock_trust.h"

#include "measure/duration.h"
#include "measure/timestamp.h"

#include <stdlib.h>
#include <string.h>

enum { SEVERAL = 2 };
enum { SAID_NOTHING, SAID_AHEAD, SAID_AGREES };
static const int64_t program_made_ms = INT64_C(1767225600000); /* 2026-01-01: no earlier run */
static const int64_t longest_absence_ms = 30 * DURATION_DAY_MS;
static const int64_t given_up_after_ms = DURATION_DAY_MS;

/* ---- sensors ---- */

bool clock_sensors_open(struct clock_sensors *sensors, size_t points) {
    *sensors = (struct clock_sensors){.points = points};
    sensors->said = calloc(points + 1, 1);
    sensors->first_word = calloc(points + 1, 1);
    sensors->newest_ms = calloc(points + 1, sizeof *sensors->newest_ms);
    if (sensors->said && sensors->first_word && sensors->newest_ms)
        return true;
    clock_sensors_close(sensors); /* nobody is heard then */
    return false;
}

void clock_sensors_close(struct clock_sensors *sensors) {
    free(sensors->said);
    free(sensors->first_word);
    free(sensors->newest_ms);
    *sensors = (struct clock_sensors){0};
}

void clock_sensors_ask_anew(struct clock_sensors *sensors) {
    if (sensors->points > 0)
        memset(sensors->said, SAID_NOTHING, sensors->points);
    sensors->ahead = sensors->agreeing = 0;
}

void clock_sensors_forget(struct clock_sensors *sensors) {
    clock_sensors_ask_anew(sensors);
    if (sensors->points > 0)
        memset(sensors->newest_ms, 0, sensors->points * sizeof *sensors->newest_ms);
}

static void say(struct clock_sensors *sensors, size_t point, unsigned char word) {
    if (point >= sensors->points)
        return;
    sensors->ahead -= sensors->said[point] == SAID_AHEAD;
    sensors->agreeing -= sensors->said[point] == SAID_AGREES;
    sensors->said[point] = word;
    sensors->ahead += word == SAID_AHEAD;
    sensors->agreeing += word == SAID_AGREES;
}

void clock_sensors_ahead(struct clock_sensors *sensors, size_t point) {
    say(sensors, point, SAID_AHEAD);
}

void clock_sensors_time(struct clock_sensors *sensors, size_t point, int64_t time_ms,
                        int64_t every_ms, int64_t now_ms) {
    int64_t fresh_ms = every_ms > CLOCK_TRUST_SLACK_MS ? every_ms : CLOCK_TRUST_SLACK_MS;
    unsigned char word = SAID_NOTHING;
    if (point >= sensors->points || time_ms < sensors->newest_ms[point])
        return;
    if (time_ms == sensors->newest_ms[point])
        word = sensors->first_word[point];
    else if (time_ms > now_ms + CLOCK_TRUST_SLACK_MS)
        word = SAID_AHEAD;
    else if (now_ms - time_ms <= fresh_ms)
        word = SAID_AGREES;
    if (word != SAID_NOTHING)
        say(sensors, point, word);
    sensors->newest_ms[point] = time_ms;
    sensors->first_word[point] = word;
}

bool clock_sensors_agree(const struct clock_sensors *sensors) {
    size_t enough = sensors->points < SEVERAL ? sensors->points : SEVERAL;
    return sensors->agreeing > 0 && sensors->agreeing >= enough &&
           sensors->agreeing > sensors->ahead;
}

/* ---- judging ---- */

enum clock_doubt clock_trust_by_memory(const struct clock_memory *memory, int64_t now_ms) {
    int64_t last_ms = memory->newest_ms > memory->life_ms ? memory->newest_ms : memory->life_ms;
    if (last_ms == TIMESTAMP_NONE)
        return CLOCK_TRUSTED;
    if (now_ms + CLOCK_TRUST_SLACK_MS < memory->newest_ms)
        return CLOCK_BEFORE_READINGS;
    if (now_ms + CLOCK_TRUST_SLACK_MS < memory->life_ms)
        return CLOCK_BEFORE_LIFE;
    return now_ms - last_ms > longest_absence_ms ? CLOCK_FAR_AHEAD : CLOCK_TRUSTED;
}

enum clock_doubt clock_trust_judge(const struct clock_evidence *evidence) {
    const struct clock_sensors *sensors = evidence->sensors;
    if (evidence->now_ms < program_made_ms)
        return CLOCK_NOT_SET;
    if (evidence->synchronised)
        return CLOCK_TRUSTED;
    size_t enough = evidence->moved_back && evidence->held_ms < given_up_after_ms ? 1 : SEVERAL;
    if (sensors->ahead >= enough && sensors->ahead > sensors->agreeing)
        return CLOCK_BEHIND_SENSORS;
    if (clock_sensors_agree(sensors) || evidence->held_ms >= given_up_after_ms)
        return CLOCK_TRUSTED;
    return clock_trust_by_memory(&evidence->memory, evidence->now_ms);
}
