/* wording_bench: a place and facts to word a message from. */
#ifndef WORDING_BENCH_H
#define WORDING_BENCH_H

#include "reading_level.h"
#include "test_support.h"
#include "words/wording.h"
#include "words/wording_texts.h"

static struct time_zone *utc;

static inline void set_up(void) {
    utc = time_zone_create_utc();
    ck_assert_ptr_nonnull(utc);
}

static inline size_t spanish(void) {
    size_t language;
    ck_assert(wording_language_find("es", &language));
    return language;
}

static inline void tear_down(void) {
    time_zone_destroy(utc);
}

static const char *const evidence[] = {"suction 0.02 inH2O of 1.1", "fan power 0 W of 19 W"};

static const char *const check[] = {"switch and breaker", "the U-tube"};

static const char *const bring[] = {"spare fan", "micromanometer"};

static inline struct wording_facts full_facts(void) {
    return (struct wording_facts){
        .zone = utc,
        .condition = CONDITION_SUCTION_LOST,
        .place.system_id = "birch-lane-12",
        .place.system_name = "12 Birch Lane",
        .place.system_address = "12 Birch Lane, Quillmere",
        .place.point_id = "suction",
        .place.point_name = "riser gauge",
        .quantity = QUANTITY_SUCTION,
        .dimension = DIMENSION_PRESSURE,
        .value = 5.0,
        .setpoint = 27.4,
        .baseline = 274.0,
        .since_ms = INT64_C(1773303300000), /* 2026-03-12T08:15:00Z */
        .raised_ms = INT64_C(1773305100000),
        .returned_ms = TIMESTAMP_NONE,
        .by = "the office",
        .note = "on my way",
        .explained.cause = "fan-off",
        .explained.confidence = 0.85,
        .explained.evidence = {evidence, 2},
        .explained.check = {check, 2},
        .explained.bring = {bring, 2},
        .contractor.name = "Quillmere Radon",
        .contractor.telephone = "555 0100",
        .occurrences = 1,
    };
}

#endif
