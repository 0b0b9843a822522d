/*
 * move: a system goes from one daemon to another. First the other takes over all that the store
 * knows of it and watches it; what this one took in meanwhile follows; then this one lets go. Until
 * that last step nothing is lost whatever fails.
 */
#include "measure/duration.h"
#include "measure/timestamp.h"
#include "tool/ctl_client.h"
#include "tool/export.h"
#include "tool/forget.h"
#include "tool/values.h"
#include "tool/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { WAIT_SECONDS = 120 };

struct moving {
    struct ctl *ctl;
    const char *system, *to, *by, *from; /* to and from: settings files */
    bool check;
    json_t *moved; /* what the other daemon took */
};

static struct ctl_path path_of(const struct moving *moving, const char *end) {
    return ctl_path_of("/api/systems/", moving->system, end);
}

static bool use(const struct moving *moving, const char *settings) {
    ctl_use_settings(moving->ctl, settings);
    return ctl_settings(moving->ctl);
}

/* ---- over to the other ---- */

static bool fetch(const struct moving *moving, struct ctl_answer *answer) {
    const struct ctl_body nothing = {"application/json", "{}", 2};
    struct ctl_path path = path_of(moving, "/move-out");
    return ctl_request(moving->ctl, path.text, &nothing, answer);
}

/* True when the other daemon took it, or would. */
static bool hand_over(struct moving *moving, const struct ctl_answer *bytes, bool check) {
    const struct ctl_body body = {"application/octet-stream", bytes->body, bytes->length};
    struct ctl_path path = path_of(moving, "/move-in");
    struct ctl_answer answer;
    ctl_path_query(&path, "by", moving->by);
    ctl_path_query(&path, "check", check ? "1" : NULL);
    if (!ctl_request(moving->ctl, path.text, &body, &answer))
        return false;
    json_decref(moving->moved);
    moving->moved = ctl_json_of(&answer);
    return true;
}

static bool is_watched(const struct moving *moving) {
    struct ctl_path path = path_of(moving, "");
    return ctl_status_of(moving->ctl, path.text) == 200;
}

static enum ctl_status wait_until_watched(const struct moving *moving) {
    const struct timespec pause = {.tv_nsec = 250000000};
    for (int i = 0; i < 4 * WAIT_SECONDS; i++) {
        if (is_watched(moving))
            return CTL_DONE;
        nanosleep(&pause, NULL);
    }
    return ctl_error(moving->ctl, CTL_FAILED,
                     "%s took it but does not watch it yet: its log says why. Mend that; here it "
                     "goes on",
                     moving->to);
}

/* ---- what came meanwhile ---- */

/* What this daemon got between the handing over and the other's first look at the broker, a day
   more of it for readings that came late; what the other has already is not taken twice. */
static bool follow(const struct moving *moving, int64_t began_ms) {
    char *text = NULL, from[40];
    size_t length = 0;
    FILE *csv = open_memstream(&text, &length);
    timestamp_format(from, sizeof from, began_ms - DURATION_DAY_MS);
    bool good = csv && use(moving, moving->from) &&
                ctl_export_csv(moving->ctl, moving->system, from, csv) == CTL_DONE;
    if (csv)
        good = fclose(csv) == 0 && good;
    const struct ctl_body body = {"text/csv", text, length};
    struct ctl_answer answer;
    good = good && use(moving, moving->to) &&
           ctl_request(moving->ctl, "/api/import?file=move", &body, &answer);
    if (good)
        free(answer.body);
    free(text);
    return good;
}

/* ---- all together ---- */

static void tell(const struct moving *moving) {
    const json_t *moved = moving->moved;
    if (moving->ctl->json) {
        ctl_print_json(json_incref(moving->moved));
        return;
    }
    ctl_tell(moving->ctl, moving->check ? PAGE_TOOL_COULD_MOVE : PAGE_TOOL_MOVED, moving->system,
             CTL_COUNT(ctl_whole_of(moved, "readings")), CTL_COUNT(ctl_whole_of(moved, "alarms")),
             CTL_COUNT(ctl_whole_of(moved, "records")), moving->to, NULL);
    if (!moving->check)
        ctl_tell(moving->ctl, PAGE_TOOL_MOVED_FILE, ctl_text_of(moved, "file"), NULL);
}

static enum ctl_status let_go(struct moving *moving, int64_t began_ms) {
    enum ctl_status status = wait_until_watched(moving);
    if (status != CTL_DONE)
        return status;
    if (follow(moving, began_ms) && use(moving, moving->from) &&
        ctl_forget_moved(moving->ctl, moving->system, moving->by) == CTL_DONE)
        return CTL_DONE;
    return ctl_error(moving->ctl, CTL_FAILED,
                     "%s has all of it, and both watch it now; when that is mended run: subslabctl "
                     "--settings %s forget %s --by %s",
                     moving->to, moving->from, moving->system, moving->by);
}

static enum ctl_status move_it(struct moving *moving) {
    int64_t began_ms = (int64_t)time(NULL) * 1000;
    struct ctl_answer bytes;
    if (!fetch(moving, &bytes))
        return CTL_FAILED;
    bool good = use(moving, moving->to) && hand_over(moving, &bytes, moving->check);
    free(bytes.body);
    if (!good)
        return CTL_FAILED;
    enum ctl_status status = moving->check ? CTL_DONE : let_go(moving, began_ms);
    if (status == CTL_DONE)
        tell(moving);
    return status;
}

static enum ctl_status move(struct ctl *ctl, const struct ctl_arguments *given) {
    struct moving moving = {.ctl = ctl,
                            .system = given->operands[0],
                            .to = ctl_option(given, "--to"),
                            .by = ctl_option(given, "--by"),
                            .from = ctl->settings_file,
                            .check = ctl_flag(given, "--check")};
    if (!ctl_settings(ctl))
        return CTL_WRONG_USE;
    enum ctl_status status = move_it(&moving);
    json_decref(moving.moved);
    return status;
}

const struct ctl_command ctl_move_commands[] = {
    {"move", "SYSTEM --to FILE --by NAME [--check] [--json]",
     "moves a system to another daemon, with its history",
     "FILE is the other daemon's settings; both run. Readings, hours and days, records, visits, "
     "tests, what the household sent, alarms with who acknowledged them, and the file go over; "
     "what comes meanwhile follows; then this daemon forgets it. Refused where the other has such "
     "a system, takes its topics by no filter, or messages about it wait. --check says what would "
     "go, and changes nothing.",
     move},
    {0},
};
