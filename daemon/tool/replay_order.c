/*
 * Introsort (Musser, "Introspective sorting and selection algorithms", 1997): quicksort with the
 * median of three, heapsort where that goes wrong, insertion for the small rest. Since no two lines
 * are equal, the order is complete and the sort as good as stable.
 */
#include "tool/replay_order.h"

enum { INSERTION_BELOW = 24 };

static bool before(const struct replay_entry *a, const struct replay_entry *b) {
    return a->time_ms != b->time_ms ? a->time_ms < b->time_ms : a->line < b->line;
}

static void swap(struct replay_entry *a, struct replay_entry *b) {
    struct replay_entry held = *a;
    *a = *b;
    *b = held;
}

static void insertion_sort(struct replay_entry *entries, size_t count) {
    for (size_t i = 1; i < count; i++) {
        struct replay_entry held = entries[i];
        size_t place = i;
        for (; place > 0 && before(&held, &entries[place - 1]); place--)
            entries[place] = entries[place - 1];
        entries[place] = held;
    }
}

static void sift_down(struct replay_entry *entries, size_t root, size_t count) {
    for (size_t child; (child = 2 * root + 1) < count; root = child) {
        if (child + 1 < count && before(&entries[child], &entries[child + 1]))
            child++;
        if (!before(&entries[root], &entries[child]))
            return;
        swap(&entries[root], &entries[child]);
    }
}

static void heap_sort(struct replay_entry *entries, size_t count) {
    for (size_t i = count / 2; i > 0; i--)
        sift_down(entries, i - 1, count);
    for (size_t i = count; i > 1; i--) {
        swap(&entries[0], &entries[i - 1]);
        sift_down(entries, 0, i - 1);
    }
}

static void median_to_front(struct replay_entry *entries, size_t count) {
    struct replay_entry *first = &entries[0], *middle = &entries[count / 2],
                        *last = &entries[count - 1];
    if (before(middle, first))
        swap(middle, first);
    if (before(last, middle))
        swap(last, middle);
    if (before(middle, first))
        swap(middle, first);
    swap(first, middle);
}

/* Hoare's partition around the first entry; returns how many stand before the cut. */
static size_t partition(struct replay_entry *entries, size_t count) {
    const struct replay_entry pivot = entries[0];
    size_t low = 0, high = count;
    for (;;) {
        do
            high--;
        while (before(&pivot, &entries[high]));
        while (before(&entries[low], &pivot))
            low++;
        if (low >= high)
            return high + 1;
        swap(&entries[low], &entries[high]);
        low++;
    }
}

static void sort(struct replay_entry *entries, size_t count, int depth) {
    while (count > INSERTION_BELOW) {
        if (depth-- == 0) {
            heap_sort(entries, count);
            return;
        }
        median_to_front(entries, count);
        size_t cut = partition(entries, count);
        /* The smaller part first keeps the stack small. */
        if (cut < count - cut) {
            sort(entries, cut, depth);
            entries += cut;
            count -= cut;
        } else {
            sort(entries + cut, count - cut, depth);
            count = cut;
        }
    }
    insertion_sort(entries, count);
}

void replay_order_sort(struct replay_entry *entries, size_t count) {
    int depth = 0;
    for (size_t rest = count; rest > 1; rest /= 2)
        depth += 2;
    sort(entries, count, depth);
}
