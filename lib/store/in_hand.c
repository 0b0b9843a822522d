/*
 * The file is one struct in_hand_sheet. Its writer may die between any two stores, so a
 * half-written note must do no harm: what is compared has bounds of its own, and to set anything
 * aside it takes two deaths with the same note.
 */
#include "store/in_hand.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

enum { NOTE_BYTES = 1016, SUSPECTS = 8, DEATHS_MOST = 2, ONE_BY_ONE_MOST = 65536 };

enum in_hand_work { NOTHING, MESSAGE, TASK, TURN };

struct note {
    uint32_t subject_length, payload_length; /* of the whole; bytes holds what has room */
    char bytes[NOTE_BYTES];                  /* subject, then payload */
};

struct suspect {
    uint32_t deaths; /* 0: a free place */
    struct note note;
};

struct in_hand_sheet {
    char magic[24];
    uint32_t work;       /* enum in_hand_work */
    uint32_t messages;   /* taken in this turn, not kept yet */
    uint32_t one_by_one; /* so many messages are still taken one a turn */
    uint32_t oldest;     /* the suspect that makes room next */
    struct note message, task;
    struct suspect suspects[SUSPECTS];
};

struct in_hand {
    struct in_hand_sheet *sheet;
    bool met[SUSPECTS]; /* suspects that came again in this turn */
};

static const char magic[24] = "subslabd in hand 1\n";

/* ---- pages that go away ---- */

/* A mapped page that the disk cannot back any more raises SIGBUS at the next write. Memory takes
   its place (as journald does with its files): the notes then end with the process. */
static struct in_hand_sheet *volatile guarded;

static void on_lost_page(int number, siginfo_t *info, void *context) {
    (void)context;
    uintptr_t at = (uintptr_t)info->si_addr, from = (uintptr_t)guarded;
    bool ours = guarded && at >= from && at < from + sizeof(struct in_hand_sheet);
    if (!ours || mmap(guarded, sizeof(struct in_hand_sheet), PROT_READ | PROT_WRITE,
                      MAP_PRIVATE | MAP_ANONYMOUS | MAP_FIXED, -1, 0) == MAP_FAILED)
        signal(number, SIG_DFL); /* the access is tried again, and ends us */
}

static void guard(struct in_hand_sheet *sheet) {
    struct sigaction action = {.sa_sigaction = on_lost_page, .sa_flags = SA_SIGINFO};
    guarded = sheet;
    sigaction(SIGBUS, &action, NULL);
}

/* ---- notes ---- */

/* A kill sees the stores in the order in which they stand here. */
static void set_work(struct in_hand_sheet *sheet, enum in_hand_work work) {
    atomic_signal_fence(memory_order_seq_cst);
    sheet->work = work;
    atomic_signal_fence(memory_order_seq_cst);
}

static size_t kept(const struct note *note, size_t *subject) {
    size_t length = (size_t)note->subject_length + note->payload_length;
    *subject = note->subject_length < NOTE_BYTES ? note->subject_length : NOTE_BYTES;
    return length < NOTE_BYTES ? length : NOTE_BYTES;
}

static void write_note(struct note *note, const char *subject, const void *payload, size_t length) {
    size_t subject_kept;
    note->subject_length = (uint32_t)strlen(subject);
    note->payload_length = (uint32_t)length;
    size_t all = kept(note, &subject_kept);
    memcpy(note->bytes, subject, subject_kept);
    memcpy(note->bytes + subject_kept, payload, all - subject_kept);
}

static bool same(const struct note *a, const struct note *b) {
    size_t subject;
    return a->subject_length == b->subject_length && a->payload_length == b->payload_length &&
           memcmp(a->bytes, b->bytes, kept(a, &subject)) == 0;
}

static size_t find(const struct in_hand_sheet *sheet, const struct note *note) {
    size_t i = 0;
    while (i < SUSPECTS && !(sheet->suspects[i].deaths > 0 && same(&sheet->suspects[i].note, note)))
        i++;
    return i;
}

static struct suspect *suspect_of(struct in_hand_sheet *sheet, const struct note *note) {
    size_t i = find(sheet, note);
    if (i == SUSPECTS)
        for (i = 0; i < SUSPECTS && sheet->suspects[i].deaths > 0;)
            i++;
    if (i == SUSPECTS) {
        i = sheet->oldest++ % SUSPECTS;
        sheet->suspects[i].deaths = 0;
    }
    sheet->suspects[i].note = *note;
    return &sheet->suspects[i];
}

/* ---- deaths ---- */

static void accuse(struct in_hand_sheet *sheet, const struct note *note, const char *what,
                   char *story, size_t story_size) {
    struct suspect *suspect = suspect_of(sheet, note);
    size_t subject;
    kept(note, &subject);
    suspect->deaths++;
    snprintf(story, story_size, "%s%.*s was in hand, %u of %d times; then it is set aside", what,
             (int)(subject < 300 ? subject : 300), note->bytes, (unsigned)suspect->deaths,
             DEATHS_MOST);
}

static void count_death(struct in_hand_sheet *sheet, char *story, size_t story_size) {
    bool alone = sheet->work == TURN && sheet->messages == 1;
    if (story_size > 0)
        story[0] = '\0';
    if (sheet->work == MESSAGE || alone) {
        accuse(sheet, &sheet->message, "a message of ", story, story_size);
    } else if (sheet->work == TASK) {
        accuse(sheet, &sheet->task, "", story, story_size);
    } else if (sheet->work == TURN && sheet->messages > 0) {
        sheet->one_by_one =
            sheet->messages < ONE_BY_ONE_MOST ? sheet->messages : (uint32_t)ONE_BY_ONE_MOST;
        snprintf(story, story_size, "one of %u messages was in hand; they are taken one by one",
                 (unsigned)sheet->messages);
    }
    sheet->work = NOTHING;
    sheet->messages = 0;
}

/* ---- life ---- */

static struct in_hand_sheet *map(int file) {
    int error = posix_fallocate(file, 0, sizeof(struct in_hand_sheet));
    if (error != 0) {
        errno = error;
        return NULL;
    }
    void *at =
        mmap(NULL, sizeof(struct in_hand_sheet), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    return at == MAP_FAILED ? NULL : at;
}

struct in_hand *in_hand_open(const char *store_path, char *story, size_t story_size) {
    char *path = NULL;
    struct in_hand *hand = calloc(1, sizeof *hand);
    int file = -1;
    if (hand && asprintf(&path, "%s.in-hand", store_path) >= 0)
        file = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
    if (file >= 0)
        hand->sheet = map(file);
    if (!hand || !hand->sheet) {
        snprintf(story, story_size, "%s: cannot be made (%s)", path ? path : store_path,
                 strerror(errno));
        free(hand);
        hand = NULL;
    } else {
        guard(hand->sheet);
        if (memcmp(hand->sheet->magic, magic, sizeof magic) != 0)
            *hand->sheet = (struct in_hand_sheet){0};
        memcpy(hand->sheet->magic, magic, sizeof magic);
        count_death(hand->sheet, story, story_size);
    }
    if (file >= 0)
        close(file);
    free(path);
    return hand;
}

void in_hand_close(struct in_hand *hand) {
    if (!hand)
        return;
    set_work(hand->sheet, NOTHING);
    guarded = NULL;
    munmap(hand->sheet, sizeof *hand->sheet);
    free(hand);
}

/* ---- work ---- */

/* Is it known from deaths? False when from too many. */
static bool may_begin(struct in_hand *hand, const struct note *note) {
    size_t i = find(hand->sheet, note);
    if (i == SUSPECTS)
        return true;
    hand->met[i] = true;
    return hand->sheet->suspects[i].deaths < DEATHS_MOST;
}

bool in_hand_message(struct in_hand *hand, const char *topic, const void *payload, size_t length) {
    if (!hand)
        return true;
    set_work(hand->sheet, NOTHING);
    write_note(&hand->sheet->message, topic, payload, length);
    hand->sheet->messages++;
    bool goes = may_begin(hand, &hand->sheet->message);
    if (goes)
        set_work(hand->sheet, MESSAGE);
    return goes;
}

bool in_hand_task(struct in_hand *hand, const char *name) {
    if (!hand)
        return true;
    set_work(hand->sheet, NOTHING);
    write_note(&hand->sheet->task, name, "", 0);
    bool goes = may_begin(hand, &hand->sheet->task);
    if (goes)
        set_work(hand->sheet, TASK);
    return goes;
}

void in_hand_turn(struct in_hand *hand) {
    if (hand)
        set_work(hand->sheet, TURN);
}

void in_hand_put_down(struct in_hand *hand) {
    if (hand)
        set_work(hand->sheet, NOTHING);
}

void in_hand_done(struct in_hand *hand) {
    if (!hand)
        return;
    struct in_hand_sheet *sheet = hand->sheet;
    set_work(sheet, NOTHING);
    sheet->one_by_one -= sheet->messages < sheet->one_by_one ? sheet->messages : sheet->one_by_one;
    sheet->messages = 0;
    for (size_t i = 0; i < SUSPECTS; i++) {
        if (hand->met[i])
            sheet->suspects[i].deaths = 0;
        hand->met[i] = false;
    }
}

void in_hand_failed(struct in_hand *hand, char *story, size_t story_size) {
    if (story_size > 0)
        story[0] = '\0';
    if (!hand)
        return;
    count_death(hand->sheet, story, story_size);
    memset(hand->met, 0, sizeof hand->met);
}

/* What was in hand last is of any system, and shorter notes leave the end of longer ones. */
void in_hand_forget(struct in_hand *hand, const char *word) {
    if (!hand)
        return;
    hand->sheet->message = hand->sheet->task = (struct note){0};
    for (size_t i = 0; i < SUSPECTS; i++) {
        struct suspect *suspect = &hand->sheet->suspects[i];
        if (suspect->deaths == 0 ||
            memmem(suspect->note.bytes, NOTE_BYTES, word, strlen(word)) != NULL)
            *suspect = (struct suspect){0};
    }
}

size_t in_hand_most(const struct in_hand *hand, size_t most) {
    return hand && hand->sheet->one_by_one > 0 ? 1 : most;
}
