#include "api/fans.h"

#include "api/routes.h"
#include "pipeline/equipment_json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const double fan_ages_years[FAN_AGES] = {1.0, 3.0, 5.0, 10.0};

/* ---- one model ---- */

static void count_lives(struct fan_model_facts *model, const struct fan_life *lives, size_t count) {
    for (size_t i = 0; i < count; i++) {
        const struct fan_life *life = &lives[i];
        bool runs = life->ended_ms == TIMESTAMP_NONE;
        model->running += runs;
        model->replaced += !runs;
        model->failures += life->failed;
        model->unsaid += life->unsaid;
        if (!isfinite(life->years)) {
            model->undated++;
            continue;
        }
        model->years += life->years;
        model->watched_years += life->years - life->entry_years;
    }
}

/* That one of this age fails within a year, when the model's past holds on. */
static void find_chance(struct fan_next *next, const struct survival_life *known, size_t count) {
    struct survival works = {NAN, NAN, NAN, 0};
    double years = next->life->years;
    if (isfinite(years))
        survival_within(known, count, years, years + 1.0, &works);
    next->chance = 1.0 - works.share;
    next->chance_lower = 1.0 - works.upper;
    next->chance_upper = 1.0 - works.lower;
    next->at_risk = works.at_risk;
}

/* Ailing ones first, the worst of them; then by chance; then by age. */
static bool is_before(const struct fan_next *a, const struct fan_next *b) {
    double chance_a = isfinite(a->chance) ? a->chance : -1.0;
    double chance_b = isfinite(b->chance) ? b->chance : -1.0;
    double years_a = isfinite(a->life->years) ? a->life->years : -1.0;
    double years_b = isfinite(b->life->years) ? b->life->years : -1.0;
    if (a->ailing != b->ailing)
        return a->ailing;
    if (a->ailing && a->condition != b->condition)
        return a->condition < b->condition;
    return chance_a != chance_b ? chance_a > chance_b : years_a > years_b;
}

static void insert_next(struct fan_model_facts *model, const struct fan_next *next) {
    size_t place = model->next_count;
    while (place > 0 && is_before(next, &model->next[place - 1]))
        place--;
    if (place == FAN_NEXT_MOST)
        return;
    size_t moved = model->next_count < FAN_NEXT_MOST ? model->next_count++ - place
                                                     : (size_t)FAN_NEXT_MOST - 1 - place;
    memmove(&model->next[place + 1], &model->next[place], moved * sizeof *next);
    model->next[place] = *next;
}

static void find_next(struct fan_model_facts *model, const struct api *api,
                      const struct fan_life *lives, size_t count, const struct survival_life *known,
                      size_t known_count) {
    for (size_t i = 0; i < count; i++) {
        struct fan_next next = {.life = &lives[i]};
        if (lives[i].ended_ms != TIMESTAMP_NONE)
            continue;
        next.ailing = fan_lives_ailing(pipeline_monitor(api->pipeline), &lives[i], &next.condition);
        model->ailing += next.ailing;
        find_chance(&next, known, known_count);
        insert_next(model, &next);
    }
}

static bool make_model(struct fan_model_facts *model, const struct api *api,
                       const struct fan_life *lives, size_t count) {
    struct survival_life *known = calloc(count, sizeof *known);
    if (!known)
        return false;
    size_t known_count = fan_lives_known(lives, count, known);
    enum survival_status sorted = survival_sort(known, known_count);
    model->model = lives->model;
    count_lives(model, lives, count);
    for (size_t i = 0; i < FAN_AGES; i++)
        model->known[i] = sorted != SURVIVAL_OK ? sorted
                                                : survival_at(known, known_count, fan_ages_years[i],
                                                              &model->share[i]);
    for (size_t i = 0; i < FAN_CURVE_MOST && sorted == SURVIVAL_OK; i++) {
        if (survival_at(known, known_count, (double)i * FAN_CURVE_STEP_YEARS, &model->curve[i]) !=
            SURVIVAL_OK)
            break;
        model->curve_count = i + 1;
    }
    find_next(model, api, lives, count, known, known_count);
    free(known);
    return true;
}

/* ---- all ---- */

static bool is_same(const char *a, const char *b) {
    return a && b ? strcmp(a, b) == 0 : a == b;
}

bool fan_facts_open(struct fan_facts *facts, const struct api *api) {
    *facts = (struct fan_facts){.models = NULL};
    if (!fan_lives_read(pipeline_monitor(api->pipeline), api->now_ms, &facts->lives))
        return false;
    const struct fan_life *lives = facts->lives.lives;
    facts->models = calloc(facts->lives.count + 1, sizeof *facts->models);
    for (size_t i = 0; facts->models && i < facts->lives.count;) {
        size_t first = i;
        while (i < facts->lives.count && is_same(lives[i].model, lives[first].model))
            i++;
        if (!make_model(&facts->models[facts->count++], api, &lives[first], i - first))
            return false;
    }
    return facts->models != NULL;
}

void fan_facts_close(struct fan_facts *facts) {
    fan_lives_clear(&facts->lives);
    free(facts->models);
}

/* ---- as JSON ---- */

static json_t *survival_json(const struct fan_model_facts *model) {
    json_t *list = json_array();
    for (size_t i = 0; i < FAN_AGES; i++) {
        bool known = model->known[i] == SURVIVAL_OK;
        const struct survival *share = &model->share[i];
        json_array_append_new(list, json_pack("{s:f, s:o, s:o, s:o, s:I, s:s*}", "years",
                                              fan_ages_years[i], "share",
                                              api_number(known ? share->share : NAN), "lower",
                                              api_number(known ? share->lower : NAN), "upper",
                                              api_number(known ? share->upper : NAN), "at_risk",
                                              (json_int_t)(known ? share->at_risk : 0), "why",
                                              survival_why(model->known[i])));
    }
    return list;
}

static json_t *curve_json(const struct fan_model_facts *model) {
    json_t *list = json_array();
    for (size_t i = 0; i < model->curve_count; i++)
        json_array_append_new(list, json_pack("{s:f, s:f, s:f, s:f}", "years",
                                              (double)i * FAN_CURVE_STEP_YEARS, "share",
                                              model->curve[i].share, "lower", model->curve[i].lower,
                                              "upper", model->curve[i].upper));
    return list;
}

static json_t *next_json(const struct api *api, const struct fan_next *next) {
    const struct fan_life *life = next->life;
    const struct system_description *about = api->fleet->systems[life->system].description;
    return json_pack("{s:s, s:s, s:s, s:s?, s:o, s:o, s:o, s:o, s:o, s:I, s:o, s:s?}", "system",
                     about->id, "name", about->name, "branch", about->branches[life->branch].id,
                     "serial", life->serial, "installed", api_time(life->installed_ms), "years",
                     api_number(life->years), "chance_next_year", api_number(next->chance),
                     "chance_lower", api_number(next->chance_lower), "chance_upper",
                     api_number(next->chance_upper), "at_risk", (json_int_t)next->at_risk,
                     "warranty_until", equipment_json_day(life->warranty_until_day), "condition",
                     next->ailing ? condition_info(next->condition)->name : NULL);
}

static json_t *model_json(const struct api *api, const struct fan_model_facts *model) {
    json_t *next = json_array();
    for (size_t i = 0; i < model->next_count; i++)
        json_array_append_new(next, next_json(api, &model->next[i]));
    return json_pack("{s:s?, s:I, s:I, s:I, s:I, s:I, s:f, s:f, s:o, s:o, s:o}", "model",
                     model->model, "count", (json_int_t)model->running, "replaced",
                     (json_int_t)model->replaced, "failures", (json_int_t)model->failures,
                     "failures_without_reason", (json_int_t)model->unsaid, "undated",
                     (json_int_t)model->undated, "years_in_service", model->years, "years_watched",
                     model->watched_years, "survival", survival_json(model), "curve",
                     curve_json(model), "next", next);
}

void api_fans(struct api_call *call) {
    struct fan_facts facts;
    if (!fan_facts_open(&facts, call->api)) {
        fan_facts_close(&facts);
        api_error(call, 503, "out of memory");
        return;
    }
    json_t *list = json_array();
    for (size_t i = 0; i < facts.count; i++)
        json_array_append_new(list, model_json(call->api, &facts.models[i]));
    fan_facts_close(&facts);
    api_json(call, 200, list);
}
