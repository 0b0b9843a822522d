/*
 * Many simulated houses with random faults: how often is the right cause named, how often is a
 * healthy house called ill, does the computed speed hold the truth, and is the stated confidence
 * earned. The simulator (tests/support/simulate_system) shares no code with the program.
 */
#include "diagnosis/diagnosis.h"
#include "simulate_system.h"
#include "test_support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum {
    USE_FLOW = 1,
    USE_POWER = 2,
    USE_FIELD = 4,
    USE_RADON = 8,
    USE_CURVE = 16,
    ALARM_STANDS = 32
};

static const enum diagnosis_cause right_cause[SIMULATE_FAULT_COUNT] = {
    [SIMULATE_HEALTHY] = CAUSE_NONE,
    [SIMULATE_FAN_WEAR] = CAUSE_FAN_WORN,
    [SIMULATE_FAN_STOP] = CAUSE_FAN_OFF,
    [SIMULATE_LEAK_RISER] = CAUSE_LEAK,
    [SIMULATE_LEAK_SLAB] = CAUSE_LEAK,
    [SIMULATE_WATER_BLOCKAGE] = CAUSE_BLOCKED_BEFORE,
    [SIMULATE_BLOCKED_DISCHARGE] = CAUSE_BLOCKED_DISCHARGE,
    [SIMULATE_TUBE_OFF] = CAUSE_GAUGE_TUBE,
    [SIMULATE_FIELD_LOST] = CAUSE_FIELD_LOST,
    [SIMULATE_RADON_ENTRY] = CAUSE_RADON_ENTRY,
    [SIMULATE_UNIT_MIX_UP] = CAUSE_UNIT_MIX_UP};

static struct diagnosis_signal signal_of(double now, double baseline) {
    return (struct diagnosis_signal){.now = now, .baseline = baseline};
}

static void fleet_input(struct diagnosis_input *input, const struct simulate_sample *now,
                        const struct simulate_sample *then, int use,
                        const struct fan_curve *curve) {
    *input = diagnosis_input_empty();
    input->suction = signal_of(now->suction_pa, then->suction_pa);
    input->suction.unit = unit_find("inH2O", 5);
    if (use & USE_FLOW)
        input->flow = signal_of(now->flow_m3_s, then->flow_m3_s);
    if (use & USE_POWER)
        input->power = signal_of(now->power_w, then->power_w);
    if (use & USE_RADON)
        input->radon = signal_of(now->radon_bq_m3, then->radon_bq_m3);
    if (use & USE_CURVE)
        input->riser.curve = curve;
    input->asked.alarm_stands = (use & ALARM_STANDS) != 0;
    input->outdoor_celsius = now->outdoor_celsius;
    if (use & USE_FIELD) {
        static const char *const names[] = {"north hole", "middle hole", "south hole"};
        input->hole_count = SIMULATE_HOLES;
        for (int i = 0; i < SIMULATE_HOLES; i++)
            input->holes[i] = (struct diagnosis_hole){
                names[i], signal_of(now->field_pa[i], then->field_pa[i]), false};
    }
}

struct score {
    int total, right, confident, confident_right;
    int by_kind[SIMULATE_FAULT_COUNT][CAUSE_COUNT];
    double stated; /* sum of confidence */
};

static void one_house(uint64_t seed, enum simulate_fault_kind kind, int use, struct score *score) {
    struct simulate_system system;
    simulate_system_make(&system, seed);
    double flows[SIMULATE_CURVE_POINTS], pressures[SIMULATE_CURVE_POINTS];
    simulate_curve(&system, flows, pressures);
    struct fan_point points[SIMULATE_CURVE_POINTS];
    for (int i = 0; i < SIMULATE_CURVE_POINTS; i++)
        points[i] = (struct fan_point){flows[i], pressures[i]};
    struct fan_curve curve;
    ck_assert_int_eq(fan_curve_make(&curve, points, SIMULATE_CURVE_POINTS), FAN_OK);
    struct simulate_fault healthy = {SIMULATE_HEALTHY, 0.0};
    struct simulate_fault fault = simulate_fault_make(&system, kind);
    struct simulate_sample then, now;
    simulate_median(&system, &healthy, 0.0, 24, &then);
    simulate_median(&system, &fault, 60.0 + 600.0 * test_random_unit(&system.random), 48, &now);
    struct diagnosis_input input;
    fleet_input(&input, &now, &then, use, &curve);
    struct diagnosis diagnosis;
    diagnosis_make(&input, &diagnosis);
    bool right = diagnosis.cause == right_cause[kind];
    score->total++;
    score->right += right;
    score->by_kind[kind][diagnosis.cause]++;
    score->stated += diagnosis.confidence;
    if (diagnosis.confidence > 0.8) {
        score->confident++;
        score->confident_right += right;
    }
}

static void print_score(const struct score *score, const char *what) {
    printf("%s: %d of %d right, stated %.3f, over 0.8: %d of %d right\n", what, score->right,
           score->total, score->stated / score->total, score->confident_right, score->confident);
    for (int kind = 0; kind < SIMULATE_FAULT_COUNT; kind++)
        for (int cause = 0; cause < CAUSE_COUNT; cause++)
            if (score->by_kind[kind][cause] && (int)right_cause[kind] != cause)
                printf("    %-20s taken for %-20s %d\n", diagnosis_cause_word(right_cause[kind]),
                       diagnosis_cause_word((enum diagnosis_cause)cause),
                       score->by_kind[kind][cause]);
    fflush(stdout);
}

static int houses(void) {
    const char *given = getenv("FLEET_HOUSES");
    return given ? atoi(given) : 40;
}

static const enum simulate_fault_kind air_faults[] = {
    SIMULATE_FAN_WEAR,       SIMULATE_FAN_STOP,          SIMULATE_LEAK_RISER, SIMULATE_LEAK_SLAB,
    SIMULATE_WATER_BLOCKAGE, SIMULATE_BLOCKED_DISCHARGE, SIMULATE_TUBE_OFF};
enum { AIR_FAULTS = sizeof(air_faults) / sizeof(air_faults[0]) };

static const struct {
    const char *name;
    int use;
    double least;
} sets[] = {
    {"suction, flow, power", USE_FLOW | USE_POWER, 0.95},
    {"suction, flow, power and curve", USE_FLOW | USE_POWER | USE_CURVE, 0.95},
    {"suction, flow, power, field, curve", USE_FLOW | USE_POWER | USE_CURVE | USE_FIELD, 0.95},
    {"suction, power", USE_POWER, 0.80},
};

START_TEST(the_right_cause_is_named) {
    struct score score = {0};
    for (int i = 0; i < houses(); i++)
        for (int j = 0; j < AIR_FAULTS; j++)
            one_house(test_seed() + (uint64_t)(i * AIR_FAULTS + j), air_faults[j],
                      sets[_i].use | ALARM_STANDS, &score);
    print_score(&score, sets[_i].name);
    ck_assert_msg(score.right >= sets[_i].least * score.total, "%s: %d of %d", sets[_i].name,
                  score.right, score.total);
    /* who says more than 0.8 must be right more often than that */
    if (score.confident > 50)
        ck_assert_msg(score.confident_right > 0.85 * score.confident, "%d of %d",
                      score.confident_right, score.confident);
}
END_TEST

START_TEST(healthy_houses_are_left_alone) {
    static const int uses[] = {
        USE_FLOW | USE_POWER, USE_POWER, USE_FLOW | USE_POWER | USE_FIELD | USE_RADON | USE_CURVE,
        USE_FLOW | USE_POWER | USE_FIELD | USE_RADON | ALARM_STANDS, USE_POWER | ALARM_STANDS};
    for (size_t use = 0; use < sizeof(uses) / sizeof(uses[0]); use++) {
        struct score score = {0};
        for (int i = 0; i < 3 * houses(); i++)
            one_house(test_seed() + (uint64_t)i, SIMULATE_HEALTHY, uses[use], &score);
        print_score(&score, "healthy");
        ck_assert_msg(score.right >= 0.97 * score.total, "%d of %d", score.right, score.total);
    }
}
END_TEST

START_TEST(faults_beside_the_air) {
    static const enum simulate_fault_kind kinds[] = {SIMULATE_FIELD_LOST, SIMULATE_RADON_ENTRY,
                                                     SIMULATE_UNIT_MIX_UP};
    struct score score = {0};
    for (int i = 0; i < houses(); i++)
        for (size_t j = 0; j < 3; j++)
            one_house(test_seed() + (uint64_t)i, kinds[j],
                      USE_FLOW | USE_POWER | USE_FIELD | USE_RADON | ALARM_STANDS, &score);
    print_score(&score, "field, radon, unit");
    ck_assert_msg(score.right >= 0.9 * score.total, "%d of %d", score.right, score.total);
}
END_TEST

/* Suction alone cannot tell: no cause may be claimed strongly, and the list must hold the truth.
 */
START_TEST(suction_alone_gives_a_short_list) {
    int held = 0, total = 0;
    for (int i = 0; i < houses(); i++) {
        struct simulate_system system;
        simulate_system_make(&system, test_seed() + (uint64_t)i);
        enum simulate_fault_kind kind = i % 2 ? SIMULATE_FAN_WEAR : SIMULATE_LEAK_RISER;
        struct simulate_fault healthy = {SIMULATE_HEALTHY, 0.0};
        struct simulate_fault fault = simulate_fault_make(&system, kind);
        struct simulate_sample then, now;
        simulate_median(&system, &healthy, 0.0, 24, &then);
        simulate_median(&system, &fault, 60.0, 48, &now);
        if (now.suction_pa > 0.6 * then.suction_pa)
            continue; /* a small change: may be nothing at all */
        struct diagnosis_input input;
        fleet_input(&input, &now, &then, 0, NULL);
        struct diagnosis diagnosis;
        diagnosis_make(&input, &diagnosis);
        ck_assert(diagnosis.confidence <= 0.6);
        ck_assert_uint_ge(diagnosis.candidate_count, 2);
        ck_assert_int_ne(diagnosis.deciding_sensor, QUANTITY_COUNT);
        total++;
        for (size_t j = 0; j < diagnosis.candidate_count; j++)
            held += diagnosis.candidates[j].cause == right_cause[kind];
    }
    printf("suction alone: %d of %d lists hold the truth\n", held, total);
    ck_assert(held >= 0.9 * total);
}
END_TEST

/* Noise on, curve of the maker 3 % off, pipe 5 % off: the speed's interval holds the truth. */
START_TEST(speed_interval_holds_the_truth) {
    int held = 0, total = 0;
    for (int i = 0; i < 4 * houses(); i++) {
        struct simulate_system system;
        simulate_system_make(&system, test_seed() + (uint64_t)i);
        double flows[SIMULATE_CURVE_POINTS], pressures[SIMULATE_CURVE_POINTS];
        simulate_curve(&system, flows, pressures);
        struct fan_point points[SIMULATE_CURVE_POINTS];
        for (int j = 0; j < SIMULATE_CURVE_POINTS; j++)
            points[j] = (struct fan_point){flows[j], pressures[j]};
        struct fan_curve curve;
        ck_assert_int_eq(fan_curve_make(&curve, points, SIMULATE_CURVE_POINTS), FAN_OK);
        struct simulate_fault healthy = {SIMULATE_HEALTHY, 0.0};
        struct simulate_fault worn = {SIMULATE_FAN_WEAR, 0.7 + 0.3 * (i % 10) / 9.0};
        struct simulate_sample then, now;
        simulate_median(&system, &healthy, 0.0, 24, &then);
        simulate_median(&system, &worn, 200.0, 168, &now);
        struct fan_state state_then = {then.suction_pa, then.flow_m3_s, NAN, NAN};
        struct fan_state state_now = {now.suction_pa, now.flow_m3_s, NAN, NAN};
        struct fan_uncertainty uncertainty = fan_uncertainty_make(NAN, NAN, NAN, true);
        struct fan_speed_ratio ratio;
        if (fan_ratio_from_curve(&curve, &state_now, &state_then, system.loss_after_gauge,
                                 &uncertainty, &ratio) != FAN_OK)
            continue;
        total++;
        held += ratio.lower <= worn.degree && worn.degree <= ratio.upper;
    }
    printf("speed: %d of %d intervals hold the truth\n", held, total);
    ck_assert(total > 2 * houses());
    ck_assert(held >= 0.93 * total);
}
END_TEST

int main(void) {
    test_seed();
    TCase *fleet = tcase_create("diagnosis fleet");
    tcase_add_loop_test(fleet, the_right_cause_is_named, 0, sizeof(sets) / sizeof(sets[0]));
    tcase_add_test(fleet, healthy_houses_are_left_alone);
    tcase_add_test(fleet, faults_beside_the_air);
    tcase_add_test(fleet, suction_alone_gives_a_short_list);
    tcase_add_test(fleet, speed_interval_holds_the_truth);
    return run_test_case(fleet);
}
