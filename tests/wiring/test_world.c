/* Seeded worlds: see world.h. By hand: SEED=n tells one world line by line; SEEDS=n [FIRST=n] tries
   so many from the first on and stops at one that breaks a promise. JOBS: worlds at a time (2).
   EDITION=n: of the script, for a seed that failed in an earlier one. */
#include "test_support.h"
#include "world.h"
#include "world_broker.h"
#include "world_disk.h"
#include "world_oracle.h"
#include "world_receivers.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

enum { JOBS_MOST = 16, DONE_BY_EXIT = 0 };

/* What a world's process says of it. */
struct outcome {
    bool finished;
    unsigned broken;
    uint64_t sum, turns, lives, readings, letters;
    char first[300];
};

/* Which kind of world. */
struct wish {
    enum world_plant plant;
    int edition; /* of the script */
};

static char room[200];

/* ---- one world, in a process of its own ---- */

static int remove_entry(const char *path, const struct stat *info, int type, struct FTW *place) {
    (void)info, (void)type, (void)place;
    return remove(path);
}

static void enter(const char *name) {
    mkdir(name, 0700);
    if (chdir(name) != 0)
        abort();
}

static void play(struct world_script *script, enum world_plant plant, const char *folder) {
    enter(folder);
    world_play(script, plant);
}

static struct world_alarms alarms_of_calm_world(const struct world_script *script) {
    struct world_script calm;
    world_script_without_faults(script, &calm);
    world_trace("the same world without faults");
    play(&calm, WORLD_PLANT_NOTHING, "../without");
    struct world_alarms alarms = world_oracle_alarms();
    world_script_free(&calm);
    return alarms;
}

static void run_world(const struct wish *wish, uint64_t seed, bool aloud, struct outcome *outcome) {
    struct world_script script;
    char name[40];
    snprintf(name, sizeof name, "seed-%llu", (unsigned long long)seed);
    if (chdir(room) != 0)
        abort();
    enter(name);
    world_trace_begin(aloud);
    world_script_make(&script, seed, wish->edition);
    play(&script, wish->plant, "with");
    world_oracle_judge(&script);
    outcome->turns = world.turns;
    outcome->lives = world.lives;
    outcome->readings = script.reading_count;
    outcome->letters = world_letter_count();
    struct world_alarms alarms = world_oracle_alarms();
    struct world_alarms calm = alarms_of_calm_world(&script);
    world_oracle_compare(&script, &alarms, &calm);
    outcome->broken = world_broken_count();
    outcome->sum = world_trace_sum();
    snprintf(outcome->first, sizeof outcome->first, "%s", world_broken_first());
    outcome->finished = true;
    if (chdir(room) != 0 || nftw(name, remove_entry, 16, FTW_DEPTH | FTW_PHYS) != 0)
        abort();
}

static pid_t start(const struct wish *wish, uint64_t seed, bool aloud, struct outcome *outcome) {
    *outcome = (struct outcome){.first = "its process died"};
    fflush(stdout);
    pid_t child = fork();
    if (child != 0)
        return child;
    run_world(wish, seed, aloud, outcome);
    fflush(stdout);
    _exit(DONE_BY_EXIT); /* abandoned lives are no leaks */
}

/* ---- many ---- */

static struct outcome *share_outcomes(void) {
    struct outcome *outcomes = mmap(NULL, JOBS_MOST * sizeof *outcomes, PROT_READ | PROT_WRITE,
                                    MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (outcomes == MAP_FAILED)
        abort();
    return outcomes;
}

static bool is_good(const struct outcome *outcome) {
    return outcome->finished && outcome->broken == 0;
}

static size_t jobs(void) {
    const char *given = getenv("JOBS");
    size_t wanted = given ? strtoul(given, NULL, 10) : 2;
    return wanted < 1 ? 1 : wanted > JOBS_MOST ? JOBS_MOST : wanted;
}

struct batch {
    uint64_t first, next, end;
    struct wish wish;
    pid_t children[JOBS_MOST];
    uint64_t seeds[JOBS_MOST];
    struct outcome *outcomes;
    void (*done)(void *context, uint64_t seed, const struct outcome *outcome);
    void *context;
    bool stop;
};

static void start_next(struct batch *batch, size_t slot) {
    batch->children[slot] = 0;
    if (batch->next == batch->end || batch->stop)
        return;
    batch->seeds[slot] = batch->next++;
    batch->children[slot] = start(&batch->wish, batch->seeds[slot], false, &batch->outcomes[slot]);
}

static void run_batch(struct batch *batch) {
    size_t count = jobs();
    pid_t child;
    batch->outcomes = share_outcomes();
    for (size_t i = 0; i < count; i++)
        start_next(batch, i);
    while ((child = wait(NULL)) > 0) {
        for (size_t i = 0; i < count; i++) {
            if (batch->children[i] != child)
                continue;
            batch->done(batch->context, batch->seeds[i], &batch->outcomes[i]);
            start_next(batch, i);
        }
    }
    munmap(batch->outcomes, JOBS_MOST * sizeof *batch->outcomes);
}

struct tally {
    struct batch *batch;
    uint64_t worlds, broken, first_broken, lives, readings, letters, sum;
    char first[300];
    bool progress, stops;
};

static void count_world(void *context, uint64_t seed, const struct outcome *outcome) {
    struct tally *tally = context;
    tally->worlds++;
    tally->lives += outcome->lives;
    tally->readings += outcome->readings;
    tally->letters += outcome->letters;
    tally->sum += outcome->sum;
    if (tally->progress && tally->worlds % 1000 == 0) {
        printf("%llu worlds\n", (unsigned long long)tally->worlds);
        fflush(stdout);
    }
    if (is_good(outcome))
        return;
    printf("SEED=%llu: %s\n", (unsigned long long)seed, outcome->first);
    fflush(stdout);
    if (tally->broken++ == 0) {
        tally->first_broken = seed;
        snprintf(tally->first, sizeof tally->first, "%s", outcome->first);
    }
    tally->batch->stop = tally->stops;
}

static struct tally try_worlds(uint64_t first, uint64_t count, struct wish wish, bool stops,
                               bool progress) {
    struct batch batch = {.next = first, .end = first + count, .wish = wish};
    struct tally tally = {.batch = &batch, .stops = stops, .progress = progress};
    batch.done = count_world;
    batch.context = &tally;
    run_batch(&batch);
    return tally;
}

static void say(const struct tally *tally) {
    printf("        %llu worlds, %llu lives, %llu readings, %llu messages: %llu broken\n",
           (unsigned long long)tally->worlds, (unsigned long long)tally->lives,
           (unsigned long long)tally->readings, (unsigned long long)tally->letters,
           (unsigned long long)tally->broken);
    fflush(stdout);
}

static const struct wish any_world = {WORLD_PLANT_NOTHING, WORLD_EDITION};

/* ---- by hand ---- */

static uint64_t number_of(const char *name, uint64_t otherwise) {
    const char *given = getenv(name);
    return given ? strtoull(given, NULL, 10) : otherwise;
}

static struct wish wished(void) {
    return (struct wish){(enum world_plant)number_of("PLANT", WORLD_PLANT_NOTHING),
                         (int)number_of("EDITION", WORLD_EDITION)};
}

static int tell_one(uint64_t seed) {
    struct outcome *outcome = share_outcomes();
    const struct wish wish = wished();
    int status = 0;
    waitpid(start(&wish, seed, true, outcome), &status, 0);
    if (!is_good(outcome))
        printf("BROKEN: %s\n", outcome->first);
    printf("%d passed, %d failed\n", is_good(outcome), !is_good(outcome));
    return is_good(outcome) ? EXIT_SUCCESS : EXIT_FAILURE;
}

static int try_many(uint64_t first, uint64_t count) {
    struct tally tally = try_worlds(first, count, wished(), !getenv("ALL"), true);
    say(&tally);
    printf("%d passed, %d failed\n", tally.broken == 0, tally.broken > 0);
    return tally.broken == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

/* ---- cases ---- */

/* With sanitizers a world takes ten times as long; tests/bench/bench_world.sh tries a thousand. */
#ifdef __SANITIZE_ADDRESS__
enum { BATCHES = 2, A_BATCH = 10 };
#else
enum { BATCHES = 20, A_BATCH = 50 };
#endif

START_TEST(worlds_keep_their_promises) {
    struct tally tally = try_worlds(1 + (uint64_t)_i * A_BATCH, A_BATCH, any_world, false, false);
    say(&tally);
    ck_assert_msg(tally.broken == 0, "%llu worlds break a promise, the first is SEED=%llu: %s",
                  (unsigned long long)tally.broken, (unsigned long long)tally.first_broken,
                  tally.first);
}
END_TEST

START_TEST(a_seed_is_one_world) {
    enum { SEEDS = 4 };
    struct tally once = try_worlds(1, SEEDS, any_world, false, false);
    struct tally again = try_worlds(1, SEEDS, any_world, false, false);
    ck_assert_uint_eq(once.sum, again.sum);
}
END_TEST

/* The worlds that broke a promise once, as they were then. */
static const struct {
    uint64_t seed;
    int edition;
} once_broken[] = {
    {75, 1},  /* a delay ended by the clock while a gateway still sent what it had kept */
    {277, 1}, /* a fan that stopped after an hour at half the suction looked like another unit */
    {675, 1}, /* as 75 */
    {764, 1}, /* the oracle's: a doubled message came late in a world without late ones */
    {979, 1}, /* as 277 */
    {7, 3},   /* one sensor ahead of a clock that was set back: refused */
    {17, 3},  /* bare numbers in one moment, while the newest reading was of the future */
    {90, 3},  /* a message's next try was reckoned by a clock that was two days ahead */
    {117, 3}, /* a message that waited at the broker until the slow clock agreed with it */
    {522, 3}, /* messages written while the clock was held: for a year later */
    {555, 3}, /* the delays followed the clock only after the first readings were taken */
    {967, 3}, /* a reload forgot what the sensors had said of the clock; readings out of order */
    {804, 3}, /* messages of a hold were forgotten and acknowledged */
};

START_TEST(a_seed_that_failed_stays_a_case) {
    const struct wish wish = {WORLD_PLANT_NOTHING, once_broken[_i].edition};
    struct tally tally = try_worlds(once_broken[_i].seed, 1, wish, false, false);
    ck_assert_msg(tally.broken == 0, "SEED=%llu EDITION=%d: %s",
                  (unsigned long long)once_broken[_i].seed, once_broken[_i].edition, tally.first);
}
END_TEST

START_TEST(a_planted_bug_is_found) {
    enum { SEEDS = 40 };
    const struct wish wish = {(enum world_plant)_i, WORLD_EDITION};
    struct tally tally = try_worlds(1, SEEDS, wish, true, false);
    ck_assert_msg(tally.broken > 0, "bug %d is not found in %d worlds", _i, SEEDS);
}
END_TEST

static void make_room(void) {
    const char *base = getenv("TMPDIR");
    const char *shared = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    snprintf(room, sizeof room, "%s/worlds-XXXXXX", base ? base : shared);
    if (!mkdtemp(room)) {
        perror(room);
        exit(EXIT_FAILURE);
    }
}

static int run_cases(void) {
    TCase *tcase = tcase_create("worlds");
    tcase_add_loop_test(tcase, worlds_keep_their_promises, 0, BATCHES);
    tcase_add_test(tcase, a_seed_is_one_world);
    tcase_add_loop_test(tcase, a_seed_that_failed_stays_a_case, 0,
                        sizeof once_broken / sizeof once_broken[0]);
    tcase_add_loop_test(tcase, a_planted_bug_is_found, 1, WORLD_PLANT_KINDS);
    return run_test_case(tcase);
}

int main(void) {
    int status;
    make_room();
    if (getenv("SEED"))
        status = tell_one(number_of("SEED", 0));
    else if (getenv("SEEDS"))
        status = try_many(number_of("FIRST", 1), number_of("SEEDS", 0));
    else
        status = run_cases();
    nftw(room, remove_entry, 16, FTW_DEPTH | FTW_PHYS);
    return status;
}
