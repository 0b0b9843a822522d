#include "service/clock_watch.h"

#include "host/clock.h"
#include "host/log.h"
#include "measure/array.h"
#include "measure/duration.h"
#include "store/records.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_MESSAGES = 8192, MOST_BYTES_KEPT = 1024 * 1024 };
static const int64_t quiet_ms = 500; /* then the broker has sent what it may */
static const int64_t longest_wait_ms = 5 * DURATION_SECOND_MS;
static const int64_t unheard_most_ms = DURATION_DAY_MS;
static const int64_t note_every_ms = DURATION_MINUTE_MS;
static const char note_name[] = "clock";

/* Its topic and payload stand in `bytes` from `from` on; the topic with its zero byte. */
struct waiting_message {
    size_t from, topic_size, length;
    bool retain;
    int64_t monotonic_ms;
    struct clock_answer asked; /* of those seen */
};

/* ---- what the store remembers ---- */

static void write_note(struct clock_watch *watch, struct pipeline *pipeline, int64_t now_ms,
                       int64_t monotonic_ms) {
    char text[64];
    watch->memory.life_ms = now_ms;
    watch->noted_ms = monotonic_ms;
    snprintf(text, sizeof text, "%" PRId64 " %" PRId64, now_ms, watch->set_aside_ms);
    if (!pipeline_begin(pipeline))
        return;
    pipeline_note(pipeline, record_note_put(pipeline_store(pipeline), note_name, text));
}

static bool read_memory(struct clock_watch *watch, struct pipeline *pipeline) {
    char text[64];
    watch->memory =
        (struct clock_memory){monitor_newest_ms(pipeline_monitor(pipeline)), TIMESTAMP_NONE};
    watch->set_aside_ms = TIMESTAMP_NONE;
    enum store_status status =
        record_note_get(pipeline_store(pipeline), note_name, text, sizeof text);
    if (status == STORE_NOT_FOUND)
        return true;
    if (status == STORE_OK)
        sscanf(text, "%" SCNd64 " %" SCNd64, &watch->memory.life_ms, &watch->set_aside_ms);
    if (watch->memory.newest_ms == watch->set_aside_ms)
        watch->memory.newest_ms = TIMESTAMP_NONE;
    return status == STORE_OK;
}

bool clock_watch_open(struct clock_watch *watch, struct pipeline *pipeline, int64_t now_ms,
                      int64_t monotonic_ms) {
    *watch = (struct clock_watch){.steady_from_ms = monotonic_ms};
    if (!read_memory(watch, pipeline) ||
        !clock_watch_fleet(watch, monitor_fleet(pipeline_monitor(pipeline))))
        return false;
    clock_watch_turn(watch, pipeline, now_ms, monotonic_ms);
    return true;
}

void clock_watch_close(struct clock_watch *watch) {
    free(watch->messages);
    free(watch->bytes);
    clock_sensors_close(&watch->sensors);
}

bool clock_watch_fleet(struct clock_watch *watch, const struct fleet *fleet) {
    watch->seen = 0;
    if (watch->sensors.points > 0 && watch->sensors.points == fleet->point_count)
        return true; /* the same points, nearly always: what they said still holds */
    clock_sensors_close(&watch->sensors);
    watch->unheard = true;
    return clock_sensors_open(&watch->sensors, fleet->point_count);
}

/* ---- judging ---- */

/* What the store remembers against the clock, in words behind "says …". */
static void say_memory(char *words, size_t size, const struct clock_memory *memory,
                       enum clock_doubt doubt) {
    char time[40];
    int64_t last_ms = memory->life_ms > memory->newest_ms ? memory->life_ms : memory->newest_ms;
    switch (doubt) {
    case CLOCK_BEFORE_READINGS:
        snprintf(words, size, ", before the newest reading (%s)",
                 timestamp_format(time, sizeof time, memory->newest_ms));
        break;
    case CLOCK_BEFORE_LIFE:
        snprintf(words, size, ", but it was %s already",
                 timestamp_format(time, sizeof time, memory->life_ms));
        break;
    case CLOCK_FAR_AHEAD:
        snprintf(words, size, ", long after the last sign of life (%s)",
                 timestamp_format(time, sizeof time, last_ms));
        break;
    default:
        words[0] = '\0';
    }
}

static void say_why(struct clock_watch *watch, int64_t now_ms) {
    char now[40], memory[80], sensors[80] = "";
    if (watch->doubt == CLOCK_TRUSTED) {
        watch->why[0] = '\0';
        return;
    }
    if (watch->doubt == CLOCK_NOT_SET) {
        snprintf(watch->why, sizeof watch->why, "the clock of this machine is not set");
        return;
    }
    say_memory(memory, sizeof memory, &watch->memory,
               clock_trust_by_memory(&watch->memory, now_ms));
    if (watch->doubt == CLOCK_BEHIND_SENSORS)
        snprintf(sensors, sizeof sensors, ", and the times of %zu points are ahead of it",
                 watch->sensors.ahead);
    snprintf(watch->why, sizeof watch->why, "the clock of this machine says %s%s%s",
             timestamp_format(now, sizeof now, now_ms), memory, sensors);
}

static void changed(struct clock_watch *watch, enum clock_doubt before, int64_t monotonic_ms) {
    if (before == CLOCK_TRUSTED)
        watch->held_from_ms = monotonic_ms;
    if (watch->doubt == CLOCK_TRUSTED)
        log_line(LOG_LEVEL_NOTICE, "clock", "it is trusted: readings are taken again");
    else
        log_line(LOG_LEVEL_WARNING, "clock",
                 "%s: readings are left with the broker until it is right", watch->why);
}

/* What the store remembers speaks against a clock that is trusted all the same. */
static void give_up_memory(struct clock_watch *watch, struct pipeline *pipeline, int64_t now_ms,
                           int64_t monotonic_ms) {
    if (clock_trust_by_memory(&watch->memory, now_ms) == CLOCK_TRUSTED)
        return;
    log_line(LOG_LEVEL_WARNING, "clock",
             "taken as right, although the store remembers another time: its clock was wrong then");
    if (watch->memory.newest_ms > now_ms)
        watch->set_aside_ms = watch->memory.newest_ms;
    watch->memory.newest_ms = TIMESTAMP_NONE;
    write_note(watch, pipeline, now_ms, monotonic_ms);
}

static void judge(struct clock_watch *watch, int64_t now_ms, int64_t monotonic_ms) {
    enum clock_doubt before = watch->doubt;
    const struct clock_evidence evidence = {
        .now_ms = now_ms,
        .memory = watch->memory,
        .sensors = &watch->sensors,
        .synchronised = before != CLOCK_TRUSTED && clock_is_synchronised(now_ms),
        .moved_back = watch->moved_ms < -CLOCK_TRUST_SLACK_MS,
        .held_ms = before == CLOCK_TRUSTED ? 0 : monotonic_ms - watch->held_from_ms,
    };
    bool still_theirs = watch->unheard && before == CLOCK_BEHIND_SENSORS && !evidence.synchronised;
    if (!still_theirs || evidence.held_ms >= unheard_most_ms)
        watch->doubt = clock_trust_judge(&evidence);
    if (clock_sensors_agree(&watch->sensors) || evidence.synchronised)
        watch->moved_ms = 0;
    if (watch->doubt != before || watch->doubt != CLOCK_TRUSTED)
        say_why(watch, now_ms);
    if (watch->doubt != before)
        changed(watch, before, monotonic_ms);
}

void clock_watch_jumped(struct clock_watch *watch, int64_t by_ms, int64_t monotonic_ms) {
    watch->moved_ms += by_ms;
    watch->steady_from_ms = monotonic_ms;
    clock_sensors_forget(&watch->sensors);
    watch->unheard = false;
    watch->seen = 0;
}

void clock_watch_turn(struct clock_watch *watch, struct pipeline *pipeline, int64_t now_ms,
                      int64_t monotonic_ms) {
    judge(watch, now_ms, monotonic_ms);
    if (!clock_watch_trusts(watch))
        return;
    give_up_memory(watch, pipeline, now_ms, monotonic_ms);
    /* A date that was mistyped and is put right within the minute leaves no trace. */
    if (monotonic_ms - watch->steady_from_ms >= note_every_ms &&
        monotonic_ms - watch->noted_ms >= note_every_ms)
        write_note(watch, pipeline, now_ms, monotonic_ms);
}

/* ---- messages that wait ---- */

bool clock_watch_asks(const struct clock_watch *watch) {
    return !clock_watch_trusts(watch) || watch->count > 0 || !clock_sensors_agree(&watch->sensors);
}

bool clock_watch_waits(const struct clock_watch *watch) {
    return watch->count > 0 || watch->full;
}

static bool make_room(struct clock_watch *watch) {
    struct waiting_message *grown = array_room(watch->messages, watch->count, sizeof *grown);
    if (grown)
        watch->messages = grown;
    return grown != NULL;
}

static bool make_room_for_bytes(struct clock_watch *watch, size_t more) {
    if (more <= watch->bytes_capacity - watch->bytes_used)
        return true;
    size_t capacity = 2 * watch->bytes_capacity + more;
    char *grown = realloc(watch->bytes, capacity);
    if (!grown)
        return false;
    watch->bytes = grown;
    watch->bytes_capacity = capacity;
    return true;
}

void clock_watch_keep(struct clock_watch *watch, const struct intake_message *message,
                      int64_t monotonic_ms) {
    size_t topic_size = strlen(message->topic) + 1;
    if (watch->full || watch->count == MOST_MESSAGES || !make_room(watch) ||
        !make_room_for_bytes(watch, topic_size + message->length)) {
        watch->full = true; /* the rest stays with the broker: none is acknowledged */
        return;
    }
    char *bytes = watch->bytes + watch->bytes_used;
    memcpy(bytes, message->topic, topic_size);
    if (message->length > 0)
        memcpy(bytes + topic_size, message->payload, message->length);
    if (watch->count == 0)
        watch->first_ms = monotonic_ms;
    watch->last_ms = monotonic_ms;
    watch->messages[watch->count++] = (struct waiting_message){.from = watch->bytes_used,
                                                               .topic_size = topic_size,
                                                               .length = message->length,
                                                               .retain = message->retain,
                                                               .monotonic_ms = monotonic_ms};
    watch->bytes_used += topic_size + message->length;
}

void clock_watch_forget_messages(struct clock_watch *watch) {
    watch->count = watch->seen = watch->bytes_used = 0;
    watch->full = false;
    /* A flood of long ones is held no longer than it waits. */
    if (watch->bytes_capacity <= MOST_BYTES_KEPT)
        return;
    free(watch->bytes);
    watch->bytes = NULL;
    watch->bytes_capacity = 0;
}

static struct intake_message message_of(const struct clock_watch *watch,
                                        const struct waiting_message *waiting) {
    const char *topic = watch->bytes + waiting->from;
    return (struct intake_message){.topic = topic,
                                   .payload = topic + waiting->topic_size,
                                   .length = waiting->length,
                                   .retain = waiting->retain};
}

/* What those that were not looked at yet say of the clock. */
static void ask(struct clock_watch *watch, const struct monitor *monitor, int64_t now_ms,
                int64_t monotonic_ms) {
    for (; watch->seen < watch->count; watch->seen++) {
        struct waiting_message *waiting = &watch->messages[watch->seen];
        const struct intake_message message = message_of(watch, waiting);
        int64_t came_ms = now_ms - (monotonic_ms - waiting->monotonic_ms);
        clock_question_ask(monitor, &message, &watch->sensors, &waiting->asked, came_ms);
    }
}

void clock_watch_connection(struct clock_watch *watch, uint64_t number) {
    if (number != watch->connection)
        clock_watch_forget_messages(watch);
    watch->connection = number;
}

enum clock_verdict clock_watch_decide(struct clock_watch *watch, struct pipeline *pipeline,
                                      int64_t now_ms, int64_t monotonic_ms) {
    if (!clock_watch_waits(watch))
        return CLOCK_WAIT;
    if (watch->seen == 0 && !clock_watch_trusts(watch))
        clock_sensors_ask_anew(&watch->sensors);
    ask(watch, pipeline_monitor(pipeline), now_ms, monotonic_ms);
    watch->unheard &= watch->count == 0;
    bool complete = watch->full || monotonic_ms - watch->last_ms >= quiet_ms ||
                    monotonic_ms - watch->first_ms >= longest_wait_ms;
    judge(watch, now_ms, monotonic_ms);
    if (!clock_watch_trusts(watch))
        return complete ? CLOCK_LEAVE : CLOCK_WAIT;
    /* One time ahead may be the first of several. */
    if (watch->sensors.ahead > 0 && !complete)
        return CLOCK_WAIT;
    return watch->count > 0 && !watch->full ? CLOCK_TAKE : CLOCK_LEAVE;
}

size_t clock_watch_pass_on(struct clock_watch *watch, struct pipeline *pipeline) {
    size_t count = watch->seen;
    for (size_t i = 0; i < count; i++) {
        const struct waiting_message *waiting = &watch->messages[i];
        const struct intake_message message = message_of(watch, waiting);
        pipeline_message(pipeline, &message, &waiting->asked, waiting->asked.now_ms);
    }
    clock_watch_forget_messages(watch);
    return count;
}
