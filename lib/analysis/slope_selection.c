#include "analysis/slope_selection.h"

#include "analysis/statistics.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Up to this many slopes, or 4 n, are simply listed. */
enum { list_at_most = 8000, most_rounds = 60 };

/* All slopes with low <= slope < high; below_low of all slopes are smaller, below_high below high.
 */
struct bracket {
    double low, high;
    uint64_t below_low, below_high;
};

static uint64_t draw(struct slope_selection *s) { /* splitmix64 */
    uint64_t z = (s->random += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
}

static int by_x_then_y(const void *a, const void *b) {
    const struct slope_point *left = a, *right = b;
    if (left->x != right->x)
        return left->x < right->x ? -1 : 1;
    return (left->y > right->y) - (left->y < right->y);
}

/* One merge of [0, middle) and [middle, end); returns how many pairs change places. */
static uint64_t merge(const struct slope_keyed *from, struct slope_keyed *to, size_t middle,
                      size_t end) {
    uint64_t inversions = 0;
    size_t left = 0, right = middle, out = 0;
    while (left < middle && right < end) {
        bool take_right = from[right].key < from[left].key;
        const struct slope_keyed *next = &from[take_right ? right : left];
        inversions += take_right ? middle - left : 0;
        to[out++] = *next;
        right += take_right;
        left += !take_right;
    }
    memcpy(to + out, from + left, (middle - left) * sizeof(*to));
    out += middle - left;
    memcpy(to + out, from + right, (end - right) * sizeof(*to));
    return inversions;
}

static uint64_t insertion_sort(struct slope_keyed *items, size_t n) {
    uint64_t inversions = 0;
    for (size_t i = 1; i < n; i++) {
        struct slope_keyed moving = items[i];
        size_t place = i;
        for (; place > 0 && moving.key < items[place - 1].key; place--)
            items[place] = items[place - 1];
        items[place] = moving;
        inversions += i - place;
    }
    return inversions;
}

/* Sorts s->order stably by key from the bottom up and returns the number of inversions it had. */
static uint64_t sort_counting(struct slope_selection *s) {
    const size_t block = 8;
    uint64_t inversions = 0;
    for (size_t first = 0; first < s->n; first += block)
        inversions += insertion_sort(s->order + first, s->n - first < block ? s->n - first : block);
    for (size_t width = block; width < s->n; width *= 2) {
        for (size_t first = 0; first < s->n; first += 2 * width) {
            size_t end = s->n - first < 2 * width ? s->n - first : 2 * width;
            size_t middle = end < width ? end : width;
            inversions += merge(s->order + first, s->spare + first, middle, end);
        }
        struct slope_keyed *kept = s->order;
        s->order = s->spare;
        s->spare = kept;
    }
    return inversions;
}

/* What points are ordered by at a trial slope; an infinite one orders by time, up or down. */
static double key_at(const struct slope_selection *s, const struct slope_point *point,
                     double slope) {
    if (isinf(slope))
        return slope < 0.0 ? point->x : -point->x;
    return (point->y - s->center_y) - slope * (point->x - s->center_x);
}

/* Number of slopes below the trial slope; leaves s->order sorted by the key there. */
static uint64_t count_below(struct slope_selection *s, double slope) {
    for (size_t i = 0; i < s->n; i++)
        s->order[i] = (struct slope_keyed){key_at(s, &s->points[i], slope), (uint32_t)i};
    return sort_counting(s);
}

static void list_slope(struct slope_selection *s, uint32_t a, uint32_t b) {
    const struct slope_point *first = &s->points[a < b ? a : b], *last = &s->points[a < b ? b : a];
    if (last->x > first->x && s->listed < s->room)
        s->slopes[s->listed++] = (last->y - first->y) / (last->x - first->x);
}

/* Puts the points in order at `low`, keyed for `high`; returns the number of slopes below `low`. */
static uint64_t order_between(struct slope_selection *s, double low, double high) {
    uint64_t below = count_below(s, low);
    for (size_t i = 0; i < s->n; i++)
        s->order[i].key = key_at(s, &s->points[s->order[i].index], high);
    s->listed = 0;
    return below;
}

/*
 * Lists all slopes with low <= slope < high: the pairs that change places between the order by
 * y - low x and that by y - high x. Insertion sort makes one move for each, so it takes n + listed
 * steps. Returns false when there are more than fit; *below is the number of slopes below `low`.
 */
static bool list_all_between(struct slope_selection *s, double low, double high, uint64_t *below) {
    *below = order_between(s, low, high);
    struct slope_keyed *items = s->order;
    for (size_t i = 1; i < s->n; i++) {
        struct slope_keyed moving = items[i];
        size_t place = i;
        for (; place > 0 && moving.key < items[place - 1].key; place--) {
            if (s->listed == s->room)
                return false;
            list_slope(s, items[place - 1].index, moving.index);
            items[place] = items[place - 1];
        }
        items[place] = moving;
    }
    return true;
}

/* One merge of list_some_between: [0, middle) and [middle, end) of from, into to. */
static void merge_listing(struct slope_selection *s, const struct slope_keyed *from,
                          struct slope_keyed *to, size_t middle, size_t end, double skip,
                          double *ahead) {
    size_t left = 0, right = middle, out = 0;
    while (left < middle && right < end) {
        if (!(from[right].key < from[left].key)) {
            to[out++] = from[left++];
            continue;
        }
        double here = (double)(middle - left);
        for (; *ahead < here; *ahead += skip)
            list_slope(s, from[left + (size_t)*ahead].index, from[right].index);
        *ahead -= here;
        to[out++] = from[right++];
    }
    memcpy(to + out, from + left, (middle - left) * sizeof(*to));
    out += middle - left;
    memcpy(to + out, from + right, (end - right) * sizeof(*to));
}

/*
 * Lists one in `skip` (at least 1) of the slopes of a bracket, starting at a random one: every pair
 * that changes places is met once in the merges, in an order that has little to do with its slope.
 */
static void list_some_between(struct slope_selection *s, const struct bracket *bracket,
                              double skip) {
    order_between(s, bracket->low, bracket->high);
    double ahead = skip * (double)(draw(s) >> 11) * 0x1.0p-53;
    for (size_t width = 1; width < s->n; width *= 2) {
        for (size_t first = 0; first < s->n; first += 2 * width) {
            size_t end = s->n - first < 2 * width ? s->n - first : 2 * width;
            merge_listing(s, s->order + first, s->spare + first, end < width ? end : width, end,
                          skip, &ahead);
        }
        struct slope_keyed *kept = s->order;
        s->order = s->spare;
        s->spare = kept;
    }
}

/* Slopes of random pairs: the sample of the first round, when every slope is still possible. */
static void draw_from_all(struct slope_selection *s) {
    s->listed = 0;
    for (size_t tries = 0; s->listed < s->draw && tries < 4 * s->draw; tries++) {
        uint64_t random = draw(s);
        uint32_t a = (uint32_t)(((random >> 32) * s->n) >> 32);
        uint32_t b = (uint32_t)(((random & 0xFFFFFFFFU) * s->n) >> 32);
        if (a != b)
            list_slope(s, a, b);
    }
}

/* Slopes nearer than this can't be told apart by y - slope x (see the header). */
static double resolution(const struct slope_selection *s, double slope) {
    return 8.0 * 2.3e-16 * (s->range_y + fabs(slope) * s->range_x) / s->smallest_step;
}

static void raise_low(struct slope_selection *s, struct bracket *b, double slope, uint64_t first) {
    if (slope <= b->low)
        return;
    uint64_t below = count_below(s, slope);
    if (below <= first) {
        b->low = slope;
        b->below_low = below;
    }
}

static void lower_high(struct slope_selection *s, struct bracket *b, double slope, uint64_t last) {
    if (slope >= b->high)
        return;
    uint64_t below = count_below(s, slope);
    if (below > last) {
        b->high = slope;
        b->below_high = below;
    }
}

static void sample(struct slope_selection *s, const struct bracket *b) {
    double inside = (double)(b->below_high - b->below_low);
    if (isinf(b->low) && isinf(b->high))
        draw_from_all(s);
    else
        list_some_between(s, b, fmax(1.0, inside / (double)s->draw));
}

/*
 * Two trial slopes from the sample of a bracket, four standard errors of a sample rank outside the
 * places of the ranks first..last; an end of the bracket itself where the sample has none.
 */
static void trial_slopes(struct slope_selection *s, const struct bracket *b, uint64_t first,
                         uint64_t last, double *low, double *high) {
    double inside = (double)(b->below_high - b->below_low), m = (double)s->listed;
    double from = (double)(first - b->below_low) / inside,
           to = (double)(last - b->below_low) / inside;
    double place_low = floor(m * from - 4.0 * sqrt(m * from * (1.0 - from)) - 4.0);
    double place_high = ceil(m * to + 4.0 * sqrt(m * to * fmax(0.0, 1.0 - to)) + 4.0);
    *low = b->low;
    *high = b->high;
    if (place_low >= 0.0 && place_low < m) {
        double slope = statistics_select(s->slopes, s->listed, (size_t)place_low);
        *low = fmax(*low, slope - resolution(s, slope));
    }
    if (place_high >= 0.0 && place_high < m) {
        double slope = statistics_select(s->slopes, s->listed, (size_t)place_high);
        *high = fmin(*high, slope + resolution(s, slope));
    }
}

/* Narrows the bracket around the ranks first..last, which stay inside. */
static void narrow(struct slope_selection *s, struct bracket *b, uint64_t first, uint64_t last) {
    double low, high;
    sample(s, b);
    trial_slopes(s, b, first, last, &low, &high);
    raise_low(s, b, low, first);
    lower_high(s, b, high, last);
}

/*
 * When many slopes are equal, sampling stops narrowing: try the sample's slope at the wanted place
 * itself. Either the rank lies in its cluster of equal slopes and is answered, or the cluster
 * leaves the bracket.
 */
static void pivot(struct slope_selection *s, struct bracket *b, uint64_t rank) {
    if (s->listed == 0)
        return;
    double share = (double)(rank - b->below_low) / (double)(b->below_high - b->below_low);
    size_t place = (size_t)(share * (double)s->listed);
    place = place < s->listed ? place : s->listed - 1;
    double slope = statistics_select(s->slopes, s->listed, place);
    double step = resolution(s, slope);
    uint64_t below = count_below(s, slope - step), below_or_equal = count_below(s, slope + step);
    if (rank >= below && rank < below_or_equal) {
        s->answered = s->answered_by_one = true;
        s->answered_slope = slope;
        s->answered_from = below;
        s->answered_to = below_or_equal;
    } else if (rank < below && slope - step < b->high) {
        b->high = slope - step;
        b->below_high = below;
    } else if (rank >= below_or_equal && slope + step > b->low) {
        b->low = slope + step;
        b->below_low = below_or_equal;
    }
}

static bool answer(struct slope_selection *s, uint64_t rank, double *slope) {
    if (!s->answered || rank < s->answered_from || rank >= s->answered_to)
        return false;
    uint64_t place = rank - s->answered_from;
    *slope = s->answered_by_one ? s->answered_slope
                                : statistics_select(s->slopes, s->listed, (size_t)place);
    return true;
}

/* Lists the slopes from low to high; they answer the ranks they hold. */
static void answer_by_list(struct slope_selection *s, double low, double high) {
    uint64_t below;
    s->answered = list_all_between(s, low, high, &below) && s->listed > 0;
    s->answered_by_one = false;
    s->answered_from = below;
    s->answered_to = below + s->listed;
}

/* Narrows until the rank is answered; the bracket is a copy of its own. */
static double select_rank(struct slope_selection *s, struct bracket b, uint64_t rank) {
    double slope = 0.0;
    s->answered = false;
    for (int round = 0; round < most_rounds && b.below_high - b.below_low > s->room; round++) {
        uint64_t inside = b.below_high - b.below_low;
        narrow(s, &b, rank, rank);
        if (b.below_high - b.below_low > inside / 2)
            pivot(s, &b, rank);
        if (s->answered)
            break;
    }
    if (!s->answered)
        answer_by_list(s, b.low, b.high);
    return answer(s, rank, &slope) ? slope : isinf(b.low) ? b.high : b.low;
}

/*
 * Ranks rising. One bracket is narrowed around all of them; one sample of it gives a short list for
 * each, which nearly always holds the rank. If not (bad luck, many equal slopes), the slow way.
 */
void slope_selection_ranks(struct slope_selection *s, const uint64_t *ranks, size_t count,
                           double *slopes) {
    struct bracket all = {-INFINITY, INFINITY, 0, s->pairs};
    double low[SLOPE_SELECTION_MOST_RANKS], high[SLOPE_SELECTION_MOST_RANKS];
    if (s->pairs > s->room)
        narrow(s, &all, ranks[0], ranks[count - 1]);
    bool fits = all.below_high - all.below_low <= s->room;
    if (!fits) {
        sample(s, &all);
        for (size_t i = 0; i < count; i++) {
            bool near = i > 0 && ranks[i] <= ranks[i - 1] + 1; /* answered by the same list */
            low[i] = near ? low[i - 1] : 0.0;
            high[i] = near ? high[i - 1] : 0.0;
            if (!near)
                trial_slopes(s, &all, ranks[i], ranks[i], &low[i], &high[i]);
        }
    }
    s->answered = false;
    if (fits)
        answer_by_list(s, all.low, all.high);
    for (size_t i = 0; i < count; i++) {
        if (!fits && !answer(s, ranks[i], &slopes[i]))
            answer_by_list(s, low[i], high[i]);
        if (!answer(s, ranks[i], &slopes[i]))
            slopes[i] = select_rank(s, all, ranks[i]);
    }
}

static uint64_t pairs_of(uint64_t n) {
    return n * (n - 1) / 2;
}

/* Pairs with distinct x of points in order of x, and the smallest step between distinct x. */
static void survey(struct slope_selection *s) {
    uint64_t same_x = 0, run = 1;
    s->smallest_step = INFINITY;
    double lowest = s->points[0].y, highest = lowest;
    for (size_t i = 1; i <= s->n; i++) {
        double step = i < s->n ? s->points[i].x - s->points[i - 1].x : 1.0;
        if (step > 0.0) {
            same_x += pairs_of(run);
            run = 0;
        }
        run++;
        if (i == s->n)
            break;
        if (step > 0.0)
            s->smallest_step = fmin(s->smallest_step, step);
        lowest = fmin(lowest, s->points[i].y);
        highest = fmax(highest, s->points[i].y);
    }
    s->pairs = pairs_of(s->n) - same_x;
    s->range_x = s->points[s->n - 1].x - s->points[0].x;
    s->range_y = highest - lowest;
    s->center_x = s->points[s->n / 2].x;
    s->center_y = 0.5 * lowest + 0.5 * highest;
}

void slope_selection_free(struct slope_selection *s) {
    free(s->points);
    free(s->order);
    free(s->spare);
    free(s->slopes);
}

bool slope_selection_start(struct slope_selection *s, const double *x, const double *y, size_t n) {
    size_t room = 8 * n > list_at_most ? 8 * n : list_at_most;
    *s = (struct slope_selection){.n = n,
                                  .points = malloc(n * sizeof(*s->points)),
                                  .order = malloc(n * sizeof(*s->order)),
                                  .spare = malloc(n * sizeof(*s->spare)),
                                  .slopes = malloc(room * sizeof(*s->slopes)),
                                  .room = room,
                                  .draw = 4 * n < room ? 4 * n : room};
    if (!s->points || !s->order || !s->spare || !s->slopes) {
        slope_selection_free(s);
        return false;
    }
    for (size_t i = 0; i < n; i++)
        s->points[i] = (struct slope_point){x[i], y[i]};
    qsort(s->points, n, sizeof(*s->points), by_x_then_y);
    survey(s);
    return true;
}
