/*
 * scenario_play: one scenario, from its first line to its last. Fails the running test at the first
 * line that cannot be done or whose expectation does not hold. The language is described in
 * tests/scenario/README.md.
 */
#ifndef SCENARIO_PLAY_H
#define SCENARIO_PLAY_H

#include "scenario_script.h"
#include "scenario_world.h"

struct play {
    struct script script;
    struct world world;
    char *settings;   /* text of the settings file so far; owned */
    int64_t seen_row; /* of the outbox: messages up to here were looked at */
    bool in_order;    /* a shuffled backlog comes in order, for comparison */
    bool compare_with_sorted, compare_with_live; /* asked for by the script */
};

/** Plays a whole file. Fails the test, or returns after its last expectation held. */
void play_file(const char *file);

/** The daemon starts when it is first needed. */
void play_need_daemon(struct play *play);

/* scenario_people.c: commands, their words not yet read. */
void play_commission(struct play *play);
void play_acknowledge(struct play *play);
void play_shelve(struct play *play);
void play_unshelve(struct play *play);
void play_out_of_service(struct play *play);
void play_return_to_service(struct play *play);
void play_visit(struct play *play);
void play_radon_test(struct play *play);
void play_import(struct play *play);

/** scenario_expect.c: the command `expect`, its words not yet read. */
void play_expect(struct play *play);
/** scenario_expect.c: alarms, readings and hourly values, one a line, for comparisons; owned by the
    caller. Without `untold` those that came and went in silence are left out. */
char *play_outcome(struct play *play);
/** Newest row of the outbox. */
int64_t play_newest_row(struct play *play);

#endif
