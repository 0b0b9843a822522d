/*
 * The page is written top down as a technician reads it: how it stands, what each point says, what
 * fan and ground say, what is open, when somebody goes there. What can't be computed says why.
 */
#include "tool/show.h"

#include "tool/table.h"
#include "tool/text.h"
#include "tool/values.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Prints one paragraph, cleaned, under an indent. */
static void say(const char *first, const char *indent, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
static void say(const char *first, const char *indent, const char *format, ...) {
    char *text = NULL;
    va_list arguments;
    va_start(arguments, format);
    if (vasprintf(&text, format, arguments) < 0)
        text = NULL;
    va_end(arguments);
    char *clean = text ? ctl_text_clean(text) : NULL;
    if (clean)
        ctl_text_print_item(stdout, first, indent, clean);
    free(clean);
    free(text);
}

static const char *why_of(const json_t *object) {
    const char *why = ctl_text_of(object, "why");
    return *why ? why : "not known yet";
}

static bool is_radon(const json_t *point) {
    return strcmp(ctl_text_of(point, "quantity"), "radon") == 0;
}

/* ---- one point ---- */

static void show_last(const struct ctl *ctl, const json_t *point, const char *unit) {
    char value[CTL_VALUE_SIZE], time[CTL_VALUE_SIZE], then[CTL_VALUE_SIZE], from[CTL_VALUE_SIZE];
    char share[CTL_VALUE_SIZE];
    const json_t *last = json_object_get(point, "last");
    const json_t *baseline = json_object_get(point, "baseline");
    double now = ctl_number_of(last, "value"), before = ctl_number_of(baseline, "value");
    if (isnan(now))
        say("  now      ", "           ", "no reading: %s", why_of(last ? last : point));
    else
        say("  now      ", "           ", "%s at %s UTC", ctl_value_of(value, ctl, now, unit),
            ctl_time(time, json_object_get(last, "time")));
    if (isnan(before)) {
        say("  then     ", "           ", "no value of commissioning: %s", why_of(baseline));
        return;
    }
    ctl_percent(share, before != 0.0 ? now / before : NAN);
    say("  then     ", "           ", "%s at commissioning (%s, %s)%s%s%s",
        ctl_value_of(then, ctl, before, unit), ctl_date(from, json_object_get(baseline, "from")),
        ctl_text_of(baseline, "by"), isnan(now) || is_radon(point) ? "" : "; now ",
        isnan(now) || is_radon(point) ? "" : share,
        isnan(now) || is_radon(point) ? "" : " of that");
}

static void show_by_hand(const struct ctl *ctl, const json_t *point, const char *unit) {
    char value[CTL_VALUE_SIZE], time[CTL_VALUE_SIZE];
    const json_t *list = json_object_get(point, "by_hand"), *item;
    size_t i;
    json_array_foreach(list, i, item)
        say(i == 0 ? "  by hand  " : "           ", "           ", "%s at %s UTC, by %s",
            ctl_value(value, ctl, json_object_get(item, "value"), unit),
            ctl_time(time, json_object_get(item, "time")), ctl_text_of(item, "by"));
}

static const char *sureness(double p_value) {
    if (p_value < 0.01)
        return "clear";
    return p_value < 0.05 ? "likely" : "may be chance";
}

/* "p = 0.034", "p < 0.001", or that nothing is known of it. */
static const char *chance_text(char text[16], double p_value) {
    if (isnan(p_value))
        return "p not known";
    if (p_value < 0.001)
        return "p < 0.001";
    snprintf(text, 16, "p = %.2g", p_value);
    return text;
}

static void show_crossing(const struct ctl *ctl, const json_t *crosses, const char *unit) {
    char limit[CTL_VALUE_SIZE], date[CTL_VALUE_SIZE], earliest[CTL_VALUE_SIZE];
    char latest[CTL_VALUE_SIZE];
    const json_t *when = json_object_get(crosses, "date");
    if (!json_is_number(json_object_get(crosses, "limit")))
        return;
    if (!json_is_string(when)) {
        say("           ", "           ", "limit %s: %s",
            ctl_value(limit, ctl, json_object_get(crosses, "limit"), unit), why_of(crosses));
        return;
    }
    const json_t *late = json_object_get(crosses, "latest");
    say("           ", "           ", "goes on to the limit %s about %s (%s to %s)",
        ctl_value(limit, ctl, json_object_get(crosses, "limit"), unit), ctl_date(date, when),
        ctl_date(earliest, json_object_get(crosses, "earliest")),
        json_is_string(late) ? ctl_date(latest, late) : "perhaps never");
}

static void show_trend(const struct ctl *ctl, const json_t *point, const char *key,
                       const char *title, const char *unit) {
    char slope[CTL_VALUE_SIZE], lower[CTL_VALUE_SIZE], upper[CTL_VALUE_SIZE];
    const json_t *trend = json_object_get(point, key);
    double per_year = ctl_number_of(trend, "per_year");
    if (!trend)
        return;
    if (isnan(per_year)) {
        say(title, "           ", "not computed: %s",
            why_of(json_is_object(trend) ? trend : point));
        return;
    }
    double p_value = ctl_number_of(trend, "p_value");
    char chance[16];
    say(title, "           ", "%s by %s a year (%s to %s); %s, %s",
        per_year < 0.0   ? "falling"
        : per_year > 0.0 ? "rising"
                         : "steady",
        ctl_difference_of(slope, ctl, fabs(per_year), unit),
        ctl_difference_of(lower, ctl, ctl_number_of(trend, "lower"), unit),
        ctl_difference_of(upper, ctl, ctl_number_of(trend, "upper"), unit),
        isnan(p_value) ? "certainty unknown" : sureness(p_value), chance_text(chance, p_value));
    show_crossing(ctl, json_object_get(trend, "crosses"), unit);
}

/* The words of IPCC guidance for probabilities (Mastrandrea et al. 2010, table 1). */
static const char *likelihood(double probability) {
    static const struct {
        double from;
        const char *words;
    } scale[] = {{0.99, "virtually certain"},      {0.90, "very likely"}, {0.66, "likely"},
                 {0.33, "about as likely as not"}, {0.10, "unlikely"},    {0.01, "very unlikely"}};
    for (size_t i = 0; i < sizeof scale / sizeof scale[0]; i++) {
        if (probability >= scale[i].from)
            return scale[i].words;
    }
    return "exceptionally unlikely";
}

static void show_average(const struct ctl *ctl, const json_t *average, const char *unit,
                         bool radon) {
    char mean[CTL_VALUE_SIZE], error[CTL_VALUE_SIZE], coverage[CTL_VALUE_SIZE];
    char first[CTL_VALUE_SIZE + 8], odds[128] = "";
    double value = ctl_number_of(average, "mean"), share = ctl_number_of(average, "coverage");
    double probability = ctl_number_of(average, "probability_above_action");
    double deviation = ctl_number_of(average, "standard_uncertainty");
    /* "since commissioning" is wider than its column. */
    const char *window = ctl_text_of(average, "window"), *blank = strchr(window, ' ');
    bool wide = blank && ctl_text_width(window) > 8;
    snprintf(first, sizeof first, "  %-8.*s ", wide ? (int)(blank - window) : 8, window);
    /* Only radon has an action level, so its lack needs no reason elsewhere. */
    const char *why = radon || isnan(deviation) ? ctl_text_of(average, "why") : "";
    if (radon && !isnan(probability))
        snprintf(odds, sizeof odds, "; %s at or above the action level (%s)",
                 likelihood(probability), ctl_percent(error, probability));
    char plus_minus[CTL_VALUE_SIZE + 8] = "";
    if (!isnan(deviation))
        snprintf(plus_minus, sizeof plus_minus, " ± %s",
                 ctl_difference_of(error, ctl, deviation, unit));
    say(first, "           ", "%s%smean %s%s, %s of the time covered%s%s%s", wide ? blank + 1 : "",
        wide ? ": " : "", ctl_value_of(mean, ctl, value, unit), plus_minus,
        ctl_percent(coverage, share), odds, *why ? "; " : "", why);
}

static bool has_mean(const json_t *average) {
    return !isnan(ctl_number_of(average, "mean"));
}

/* Windows without a mean for the same reason share a line; returns how many did. */
static size_t show_missing(const json_t *averages, size_t at) {
    char windows[160] = "";
    const char *why = why_of(json_array_get(averages, at));
    size_t count = 0, used = 0;
    for (; at + count < json_array_size(averages); count++) {
        const json_t *average = json_array_get(averages, at + count);
        if (has_mean(average) || strcmp(why_of(average), why) != 0 || used > 100)
            break;
        int length = snprintf(windows + used, sizeof windows - used, "%s%.40s", used ? ", " : "",
                              ctl_text_of(average, "window"));
        used += length > 0 ? (size_t)length : 0;
    }
    say("  means    ", "           ", "none of %s: %s", windows, why);
    return count;
}

static void show_averages(const struct ctl *ctl, const json_t *point, const char *unit) {
    const json_t *averages = json_object_get(point, "averages");
    for (size_t i = 0; i < json_array_size(averages);) {
        const json_t *average = json_array_get(averages, i);
        if (!has_mean(average)) {
            i += show_missing(averages, i);
            continue;
        }
        show_average(ctl, average, unit, is_radon(point));
        i++;
    }
}

/* ---- ratios to commissioning ---- */

static void show_ratio_crossing(const json_t *crosses) {
    char date[CTL_VALUE_SIZE], earliest[CTL_VALUE_SIZE], latest[CTL_VALUE_SIZE];
    const json_t *when = json_object_get(crosses, "date");
    const json_t *late = json_object_get(crosses, "latest");
    if (json_is_string(when))
        say("           ", "           ", "goes on to %.2f about %s (%s to %s)",
            ctl_number_of(crosses, "limit"), ctl_date(date, when),
            ctl_date(earliest, json_object_get(crosses, "earliest")),
            json_is_string(late) ? ctl_date(latest, late) : "perhaps never");
}

static void show_ratio_trend(const json_t *ratio, const char *key, const char *when) {
    const json_t *trend = json_object_get(ratio, key);
    double per_year = ctl_number_of(trend, "per_year");
    double p_value = ctl_number_of(trend, "p_value_cautious");
    char chance[16];
    if (isnan(per_year))
        return;
    say("           ", "           ", "%s%s by %.3f a year (%.3f to %.3f); %s, %s", when,
        per_year < 0.0   ? "falling"
        : per_year > 0.0 ? "rising"
                         : "steady",
        fabs(per_year), ctl_number_of(trend, "lower"), ctl_number_of(trend, "upper"),
        isnan(p_value) ? "certainty unknown" : sureness(p_value), chance_text(chance, p_value));
    if (per_year < 0.0)
        show_ratio_crossing(json_object_get(trend, "crosses"));
}

static void show_ratio(const json_t *object, const char *key, const char *title,
                       const char *meaning) {
    double ratio = ctl_number_of(object, key);
    double lower = ctl_number_of(object, "lower"), upper = ctl_number_of(object, "upper");
    if (isnan(ratio))
        say(title, "           ", "not computed: %s", why_of(object));
    else if (isnan(lower) || isnan(upper))
        say(title, "           ", "%s %.2f times that of commissioning", meaning, ratio);
    else
        say(title, "           ", "%s %.2f times that of commissioning (%.2f to %.2f)", meaning,
            ratio, lower, upper);
    show_ratio_trend(object, "trend", "");
    show_ratio_trend(object, "trend_recent", "in the last 60 days ");
}

static void show_point(const struct ctl *asked, const json_t *point) {
    const char *unit = ctl_text_of(point, "unit"), *name = ctl_text_of(point, "name");
    const char *id = ctl_text_of(point, "id");
    const struct ctl of_point = ctl_for_quantity(asked, point), *ctl = &of_point;
    printf("\n");
    say("", "  ", "%s (%s)%s%s", id, ctl_text_of(point, "quantity"),
        *name && strcmp(name, id) != 0 ? ": " : "", strcmp(name, id) != 0 ? name : "");
    show_last(ctl, point, unit);
    if (*ctl_text_of(json_object_get(point, "sends_too_often"), "text"))
        say("           ", "           ", "%s",
            ctl_text_of(json_object_get(point, "sends_too_often"), "text"));
    show_by_hand(ctl, point, unit);
    show_trend(ctl, point, "trend", "  trend    ", unit);
    show_trend(ctl, point, "trend_recent", "  lately   ", unit);
    if (json_object_get(point, "coupling"))
        show_ratio(json_object_get(point, "coupling"), "ratio", "  reach    ",
                   "its share of the riser's suction");
    show_averages(ctl, point, unit);
}

/* ---- the system ---- */

static void show_head(const json_t *system) {
    char time[CTL_VALUE_SIZE], until[CTL_VALUE_SIZE];
    const json_t *since = json_object_get(system, "since");
    const json_t *service = json_object_get(system, "out_of_service");
    say("", "  ", "%s: %s", ctl_text_of(system, "id"), ctl_text_of(system, "name"));
    if (*ctl_text_of(system, "address"))
        say("", "  ", "%s", ctl_text_of(system, "address"));
    if (*ctl_text_of(system, "foundation"))
        say("foundation ", "  ", "%s", ctl_text_of(system, "foundation"));
    say("status     ", "  ", "%s%s%s%s", ctl_text_of(system, "status"),
        json_is_string(since) ? " since " : "", json_is_string(since) ? ctl_time(time, since) : "",
        json_is_string(since) ? " UTC" : "");
    if (json_is_object(service))
        say("           ", "           ", "out of service until %s UTC, by %s: %s",
            ctl_time(until, json_object_get(service, "until")), ctl_text_of(service, "by"),
            ctl_text_of(service, "why"));
}

static void show_list(const char *title, const char *indent, const json_t *list) {
    const json_t *item;
    size_t i;
    json_array_foreach(list, i, item) {
        if (json_is_string(item))
            say(i == 0 ? title : indent, indent, "%s", json_string_value(item));
    }
}

static void show_alarm(const struct ctl *ctl, const json_t *alarm) {
    char raised[CTL_VALUE_SIZE], value[CTL_VALUE_SIZE], limit[CTL_VALUE_SIZE];
    char first[32];
    const json_t *diagnosis = json_object_get(alarm, "diagnosis");
    const char *unit = ctl_text_of(alarm, "unit");
    const json_t *setpoint = json_object_get(alarm, "setpoint");
    snprintf(first, sizeof first, "  %-8lld ",
             (long long)json_integer_value(json_object_get(alarm, "id")));
    say(first, "           ", "%s%s%s: %s, %s priority, raised %s UTC",
        ctl_text_of(alarm, "condition"), *ctl_text_of(alarm, "point") ? " at " : "",
        ctl_text_of(alarm, "point"), ctl_text_of(alarm, "state"), ctl_text_of(alarm, "priority"),
        ctl_time(raised, json_object_get(alarm, "raised")));
    if (json_is_number(json_object_get(alarm, "value")))
        say("           ", "           ", "%s%s%s",
            ctl_value(value, ctl, json_object_get(alarm, "value"), unit),
            json_is_number(setpoint) ? ", limit " : "",
            json_is_number(setpoint) ? ctl_value(limit, ctl, setpoint, unit) : "");
    if (*ctl_text_of(diagnosis, "cause"))
        say("  cause    ", "           ", "%s (confidence %s)", ctl_text_of(diagnosis, "cause"),
            ctl_percent(value, ctl_number_of(diagnosis, "confidence")));
    show_list("  because  ", "           ", json_object_get(diagnosis, "evidence"));
    show_list("  check    ", "           ", json_object_get(alarm, "check"));
    show_list("  bring    ", "           ", json_object_get(alarm, "bring"));
}

void ctl_show_visit(const struct ctl *ctl, const json_t *visit) {
    char due[CTL_VALUE_SIZE], earliest[CTL_VALUE_SIZE], latest[CTL_VALUE_SIZE];
    const json_t *reasons = json_object_get(visit, "reasons"), *reason;
    const char *address = ctl_text_of(visit, "address");
    size_t i;
    (void)ctl;
    say("", "  ", "%s  %s%s%s", ctl_text_of(visit, "system"), ctl_text_of(visit, "name"),
        *address ? ", " : "", address);
    say("  due      ", "           ", "%s (%s to %s), %s priority",
        ctl_date(due, json_object_get(visit, "due")),
        ctl_date(earliest, json_object_get(visit, "earliest")),
        ctl_date(latest, json_object_get(visit, "latest")), ctl_text_of(visit, "priority"));
    json_array_foreach(reasons, i, reason)
        say(i == 0 ? "  why      " : "           ", "           ", "%s: %s",
            ctl_text_of(reason, "condition"), ctl_text_of(reason, "text"));
    show_list("  check    ", "           ", json_object_get(visit, "check"));
    show_list("  bring    ", "           ", json_object_get(visit, "bring"));
}

void ctl_show_print(const struct ctl *ctl, const json_t *system) {
    json_t *points = json_object_get(system, "points"), *alarms = json_object_get(system, "alarms");
    json_t *visits = json_object_get(system, "visits"), *item;
    char last[CTL_VALUE_SIZE];
    const json_t *visited = json_object_get(system, "last_visit");
    size_t i;
    show_head(system);
    json_array_foreach(points, i, item) show_point(ctl, item);
    printf("\nfan and ground\n");
    show_ratio(json_object_get(system, "fan"), "speed_ratio", "  fan      ", "speed");
    show_ratio(json_object_get(system, "ground"), "resistance_ratio", "  ground   ", "resistance");
    printf("\n%s\n", json_array_size(alarms) ? "open alarms" : "no open alarms");
    json_array_foreach(alarms, i, item) show_alarm(ctl, item);
    printf("\n%s\n", json_array_size(visits) ? "visits" : "no visit due");
    json_array_foreach(visits, i, item) ctl_show_visit(ctl, item);
    if (json_is_object(visited))
        visited = json_object_get(visited, "on") ? json_object_get(visited, "on")
                                                 : json_object_get(visited, "time");
    if (json_is_string(visited))
        say("last visit ", "  ", "%s", ctl_date(last, visited));
}
