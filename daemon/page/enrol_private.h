/*
 * enrol_private: what enrol.c (the topics), enrol_house.c (the form of the house) and enrol_take.c
 * (what is done with it) share.
 */
#ifndef DAEMON_PAGE_ENROL_PRIVATE_H
#define DAEMON_PAGE_ENROL_PRIVATE_H

#include "api/unclaimed.h"
#include "page/entry.h"
#include "page/view.h"

enum { ENROL_POINTS_MOST = 24, ENROL_RISERS_MOST = 8, ENROL_TUBES_MOST = 8, ENROL_FIELD_SIZE = 48 };

/** What a box of the list says: the topic, and where the number stands in its messages. */
#define ENROL_PICK_SIZE (1100 + 2 * PROPOSAL_TEXT)
void enrol_pick_text(char text[ENROL_PICK_SIZE], const char *topic, const struct proposal *one);

/** The list, with what is wrong above it, or NULL. */
void enrol_show_topics(struct page_view *view, const char *complaint);

struct enrol_point {
    char topic[1100], value[PROPOSAL_TEXT], time[PROPOSAL_TEXT], senml[PROPOSAL_TEXT];
    char id[80], quantity[40], unit[24], every[24];
    char by[8]; /* "hand": a person reads it, and it has no topic; else "" */
    double last;
};

/** The form of a house, empty or as it came back. */
struct house_form {
    struct entry entry;
    struct enrol_point points[ENROL_POINTS_MOST];
    size_t point_count, riser_count;
};

/** Names of fields: of the point 0 "p-0-unit", of the riser 0 "r-0-pipe". */
const char *enrol_point_field(char name[ENROL_FIELD_SIZE], size_t i, const char *part);
const char *enrol_riser_field(char name[ENROL_FIELD_SIZE], size_t i, const char *part);

/** How many risers a form says that the house has: 1 where it doesn't. */
size_t enrol_riser_count(const struct page_form *form);

/** Answers with the form. */
void enrol_show_house(struct page_view *view, struct house_form *house, int status);

#endif
