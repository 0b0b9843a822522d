/*
 * in_hand over deaths: each life is a process that notes and is killed, or kills itself, in the
 * middle of it.
 */
#include "store/in_hand.h"
#include "test_support.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[] = "/tmp/in_hand_XXXXXX", store[64], file[80], story[400];

static void begin(void) {
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(store, sizeof store, "%s/s.db", folder);
    snprintf(file, sizeof file, "%s.in-hand", store);
}

static void end(void) {
    unlink(file);
    rmdir(folder);
}

static struct in_hand *opened(void) {
    struct in_hand *hand = in_hand_open(store, story, sizeof story);
    ck_assert_msg(hand != NULL, "%s", story);
    return hand;
}

static bool take(struct in_hand *hand, const char *topic, const char *payload) {
    return in_hand_message(hand, topic, payload, strlen(payload));
}

/* One life that runs `work` and ends by kill -9; whether it lived through the work. */
static void dies_in(void (*work)(struct in_hand *hand)) {
    pid_t child = fork();
    ck_assert_int_ge(child, 0);
    if (child == 0) {
        struct in_hand *hand = in_hand_open(store, story, sizeof story);
        if (hand)
            work(hand);
        kill(getpid(), SIGKILL);
    }
    int status = 0;
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert(WIFSIGNALED(status));
    ck_assert_int_eq(WTERMSIG(status), SIGKILL);
}

static void good_then_poison(struct in_hand *hand) {
    take(hand, "a/good", "1");
    take(hand, "a/poison", "13");
}

START_TEST(a_message_in_hand_at_two_deaths_is_not_taken_a_third_time) {
    dies_in(good_then_poison);
    struct in_hand *hand = opened();
    ck_assert_ptr_nonnull(strstr(story, "a/poison was in hand, 1 of 2 times"));
    in_hand_close(hand);
    dies_in(good_then_poison);
    hand = opened();
    ck_assert_ptr_nonnull(strstr(story, "a/poison was in hand, 2 of 2 times"));
    ck_assert(take(hand, "a/good", "1"));
    ck_assert(!take(hand, "a/poison", "13"));
    ck_assert(take(hand, "a/poison", "14"));
    ck_assert(take(hand, "a/poisons", "3"));
    in_hand_done(hand);
    /* It is dealt with: the same bytes in a year are another message. */
    ck_assert(take(hand, "a/poison", "13"));
    in_hand_close(hand);
}
END_TEST

START_TEST(one_that_gets_through_is_no_suspect_any_more) {
    dies_in(good_then_poison);
    struct in_hand *hand = opened();
    ck_assert(take(hand, "a/poison", "13"));
    in_hand_done(hand);
    in_hand_close(hand);
    dies_in(good_then_poison);
    hand = opened();
    ck_assert_ptr_nonnull(strstr(story, "1 of 2 times"));
    ck_assert(take(hand, "a/poison", "13"));
    in_hand_close(hand);
}
END_TEST

static void turn_of_three(struct in_hand *hand) {
    size_t most = in_hand_most(hand, 100);
    static const char *const payloads[] = {"1", "13", "2"};
    for (size_t i = 0; i < 3; i++) {
        if (take(hand, "a/b", payloads[i]) && (most > 1 ? i == 2 : i == 1)) {
            in_hand_turn(hand);
            return; /* dies in the work that follows for all, or for the culprit alone */
        }
        if (most == 1)
            in_hand_done(hand);
    }
}

START_TEST(of_several_the_culprit_is_found_by_taking_them_one_by_one) {
    dies_in(turn_of_three);
    struct in_hand *hand = opened();
    ck_assert_ptr_nonnull(strstr(story, "one of 3 messages"));
    ck_assert_uint_eq(in_hand_most(hand, 100), 1);
    in_hand_close(hand);
    dies_in(turn_of_three);
    hand = opened();
    ck_assert_ptr_nonnull(strstr(story, "a/b was in hand, 1 of 2 times"));
    in_hand_close(hand);
    dies_in(turn_of_three);
    hand = opened();
    ck_assert(take(hand, "a/b", "1"));
    in_hand_done(hand);
    ck_assert(!take(hand, "a/b", "13"));
    in_hand_done(hand);
    ck_assert(take(hand, "a/b", "2"));
    in_hand_done(hand);
    ck_assert_uint_eq(in_hand_most(hand, 100), 100); /* past the suspected ones */
    in_hand_close(hand);
}
END_TEST

static void commits(struct in_hand *hand) {
    take(hand, "a/poison", "13");
    in_hand_turn(hand);
    in_hand_put_down(hand);
}

START_TEST(a_death_in_the_commit_is_nobodys_fault) {
    for (int i = 0; i < 4; i++)
        dies_in(commits);
    struct in_hand *hand = opened();
    ck_assert_str_eq(story, "");
    ck_assert(take(hand, "a/poison", "13"));
    ck_assert_uint_eq(in_hand_most(hand, 100), 100);
    in_hand_close(hand);
}
END_TEST

static void does_a_task(struct in_hand *hand) {
    take(hand, "a/good", "1");
    in_hand_task(hand, "packing of a/b");
}

START_TEST(other_work_is_known_by_its_name) {
    dies_in(does_a_task);
    dies_in(does_a_task);
    struct in_hand *hand = opened();
    ck_assert_ptr_nonnull(strstr(story, "packing of a/b was in hand, 2 of 2 times"));
    ck_assert(take(hand, "a/good", "1"));
    ck_assert(!in_hand_task(hand, "packing of a/b"));
    ck_assert(in_hand_task(hand, "packing of a/c"));
    in_hand_done(hand);
    ck_assert(in_hand_task(hand, "packing of a/b"));
    in_hand_close(hand);
}
END_TEST

START_TEST(memory_that_lacks_counts_as_a_death) {
    struct in_hand *hand = opened();
    for (int i = 0; i < 2; i++) {
        ck_assert(take(hand, "a/poison", "13"));
        in_hand_failed(hand, story, sizeof story);
        ck_assert_ptr_nonnull(strstr(story, "a/poison was in hand"));
    }
    ck_assert(!take(hand, "a/poison", "13"));
    /* What fails with nothing in hand is nobody's fault. */
    in_hand_put_down(hand);
    in_hand_failed(hand, story, sizeof story);
    ck_assert_str_eq(story, "");
    in_hand_close(hand);
}
END_TEST

static char long_topic[2000], long_payload[70000];

static void dies_with_long_ones(struct in_hand *hand) {
    in_hand_message(hand, long_topic, long_payload, sizeof long_payload);
}

START_TEST(long_topics_and_payloads_have_room) {
    memset(long_topic, 't', sizeof long_topic - 1);
    memset(long_payload, 'p', sizeof long_payload);
    dies_with_long_ones(NULL); /* noting nowhere is allowed */
    dies_in(dies_with_long_ones);
    dies_in(dies_with_long_ones);
    struct in_hand *hand = opened();
    ck_assert(in_hand_message(hand, long_topic, long_payload, sizeof long_payload - 1));
    ck_assert(!in_hand_message(hand, long_topic, long_payload, sizeof long_payload));
    in_hand_close(hand);
}
END_TEST

START_TEST(more_suspects_than_places_lose_the_oldest) {
    struct in_hand *hand = opened();
    char topic[16];
    for (int i = 0; i < 20; i++) {
        snprintf(topic, sizeof topic, "t/%d", i);
        for (int k = 0; k < 2; k++) {
            take(hand, topic, "1");
            in_hand_failed(hand, story, sizeof story);
        }
    }
    ck_assert(!take(hand, "t/19", "1"));
    ck_assert(!take(hand, "t/12", "1"));
    ck_assert(take(hand, "t/11", "1"));
    in_hand_close(hand);
}
END_TEST

START_TEST(a_file_of_anything_else_is_begun_anew) {
    int garbage = open(file, O_WRONLY | O_CREAT, 0600);
    for (int i = 0; i < 1000; i++)
        ck_assert_int_eq(write(garbage, "\xff\x03garbage!!", 11), 11);
    close(garbage);
    struct in_hand *hand = opened();
    ck_assert_str_eq(story, "");
    ck_assert(take(hand, "a/b", "1"));
    ck_assert_uint_eq(in_hand_most(hand, 100), 100);
    in_hand_close(hand);
}
END_TEST

/* Cut to nothing, the file has no page left: the next note would end us by SIGBUS. */
START_TEST(pages_that_go_away_leave_notes_in_memory) {
    struct in_hand *hand = opened();
    ck_assert_int_eq(truncate(file, 0), 0);
    for (int i = 0; i < 2; i++) {
        ck_assert(take(hand, "a/poison", "13"));
        in_hand_failed(hand, story, sizeof story);
    }
    ck_assert(!take(hand, "a/poison", "13"));
    in_hand_close(hand);
}
END_TEST

START_TEST(a_folder_that_is_not_there_is_told) {
    ck_assert_ptr_null(in_hand_open("/nowhere/s.db", story, sizeof story));
    ck_assert_ptr_nonnull(strstr(story, "/nowhere/s.db.in-hand: cannot be made"));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("in_hand");
    tcase_add_checked_fixture(tcase, begin, end);
    tcase_add_test(tcase, a_message_in_hand_at_two_deaths_is_not_taken_a_third_time);
    tcase_add_test(tcase, one_that_gets_through_is_no_suspect_any_more);
    tcase_add_test(tcase, of_several_the_culprit_is_found_by_taking_them_one_by_one);
    tcase_add_test(tcase, a_death_in_the_commit_is_nobodys_fault);
    tcase_add_test(tcase, other_work_is_known_by_its_name);
    tcase_add_test(tcase, memory_that_lacks_counts_as_a_death);
    tcase_add_test(tcase, long_topics_and_payloads_have_room);
    tcase_add_test(tcase, more_suspects_than_places_lose_the_oldest);
    tcase_add_test(tcase, a_file_of_anything_else_is_begun_anew);
    tcase_add_test(tcase, pages_that_go_away_leave_notes_in_memory);
    tcase_add_test(tcase, a_folder_that_is_not_there_is_told);
    return run_test_case(tcase);
}
