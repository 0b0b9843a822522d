#include "page/test_form.h"

#include "api/radon_test_entry.h"
#include "page/view_text.h"
#include "page/view_words.h"

#include <stdio.h>
#include <string.h>

static void write_days(const struct page_view *view, struct entry *entry, size_t system) {
    char today[PAGE_TEXT_SIZE];
    entry_input(entry, &(struct entry_field){"from", home_words(view, HOME_TEST_FROM),
                                             .type = "date", .needed = true});
    entry_input(entry, &(struct entry_field){"to", home_words(view, HOME_TEST_TO), .type = "date",
                                             .otherwise = page_date_text(today, view->api->now_ms,
                                                                         page_zone(view, system)),
                                             .needed = true});
}

static void write_result(const struct page_view *view, struct entry *entry) {
    entry_input(entry, &(struct entry_field){"value", home_words(view, HOME_TEST_VALUE),
                                             home_words(view, HOME_TEST_VALUE_HINT), .most = "40",
                                             .needed = true});
    entry_input(entry,
                &(struct entry_field){"uncertainty", home_words(view, HOME_TEST_UNCERTAINTY),
                                      home_words(view, HOME_TEST_UNCERTAINTY_HINT), .most = "20"});
}

static void write_where(const struct page_view *view, struct entry *entry) {
    entry_input(entry, &(struct entry_field){"place", home_words(view, HOME_TEST_PLACE),
                                             home_words(view, HOME_TEST_PLACE_HINT), .most = "200",
                                             .needed = true});
    entry_input(entry, &(struct entry_field){"device", home_words(view, HOME_TEST_DEVICE),
                                             home_words(view, HOME_TEST_DEVICE_HINT), .most = "200",
                                             .needed = true});
}

static void write_how(const struct page_view *view, struct entry *entry) {
    const struct entry_choice kinds[] = {{"", home_words(view, HOME_TEST_KIND_BY_DAYS)},
                                         {"short", home_words(view, HOME_TEST_SHORT)},
                                         {"long", home_words(view, HOME_TEST_LONG)}};
    const struct entry_choice closed[] = {{"", home_words(view, HOME_UNKNOWN)},
                                          {"yes", home_words(view, HOME_YES)},
                                          {"no", home_words(view, HOME_NO)}};
    entry_choices(entry,
                  &(struct entry_field){.name = "kind", .label = home_words(view, HOME_TEST_KIND)},
                  kinds, 3);
    entry_choices(entry,
                  &(struct entry_field){.name = "closed_house",
                                        .label = home_words(view, HOME_TEST_CLOSED_QUESTION)},
                  closed, 3);
}

void test_form_write(const struct page_view *view, struct entry *entry, size_t system) {
    write_days(view, entry, system);
    write_result(view, entry);
    write_where(view, entry);
    write_how(view, entry);
}

bool test_form_read(const struct page_view *view, struct entry *entry, size_t system,
                    struct record_radon_test *test) {
    static const enum home_text words[] = {[RADON_TEST_MISSING] = HOME_WRONG_MISSING,
                                           [RADON_TEST_NO_VALUE] = HOME_WRONG_VALUE,
                                           [RADON_TEST_IMPOSSIBLE] = HOME_WRONG_RADON,
                                           [RADON_TEST_NO_UNCERTAINTY] = HOME_WRONG_UNCERTAINTY,
                                           [RADON_TEST_NO_TIME] = HOME_WRONG_DAY,
                                           [RADON_TEST_AHEAD] = HOME_WRONG_AHEAD,
                                           [RADON_TEST_TURNED] = HOME_WRONG_TURNED,
                                           [RADON_TEST_BRIEF] = HOME_WRONG_BRIEF,
                                           [RADON_TEST_LONG] = HOME_WRONG_TOO_LONG,
                                           [RADON_TEST_NOT_SHORT] = HOME_WRONG_NOT_SHORT,
                                           [RADON_TEST_NOT_LONG] = HOME_WRONG_NOT_LONG,
                                           [RADON_TEST_NO_WORD] = HOME_WRONG_CHOICE};
    struct radon_test_entry typed;
    enum radon_test_wrong wrong[RADON_TEST_FIELDS];
    char value[64];
    for (int i = 0; i < RADON_TEST_FIELDS; i++)
        typed.fields[i] = page_form_value(entry->typed, radon_test_field_names[i]);
    /* Whoever writes a comma means the same number. */
    snprintf(value, sizeof value, "%s", typed.fields[RADON_TEST_VALUE]);
    if (strchr(value, ','))
        *strchr(value, ',') = '.';
    typed.fields[RADON_TEST_VALUE] = value;
    bool good =
        radon_test_entry_read(&typed, page_zone(view, system), view->api->now_ms, test, wrong);
    for (int i = 0; i < RADON_TEST_FIELDS; i++) {
        if (wrong[i] != RADON_TEST_RIGHT)
            entry_wrong_home(entry, radon_test_field_names[i], words[wrong[i]]);
        else if (strlen(typed.fields[i]) > 200)
            entry_wrong_home(entry, radon_test_field_names[i], HOME_WRONG_LONG);
    }
    return good && entry->wrong_count == 0;
}
