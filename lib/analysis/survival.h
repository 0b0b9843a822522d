/*
 * survival: which share of things of one kind still works at an age, from some that failed and more
 * that have not yet: Kaplan and Meier, with Greenwood's variance. Pure.
 *
 * Ages are any unit, the same throughout. Nobody saw what failed before the watch began, so a life
 * counts as at risk only from the age at which it was first seen (delayed entry); what was seen
 * from its first day has 0 there.
 *
 * Kaplan, Meier: Nonparametric Estimation from Incomplete Observations, JASA 53 (1958) 457.
 * Greenwood: The Natural Duration of Cancer, 1926. The interval is that of log(-log S), which stays
 * within 0 and 1 (Kalbfleisch, Prentice: The Statistical Analysis of Failure Time Data, 1.4). While
 * nothing has failed it says nothing; then the lower end is the exact binomial one (Clopper,
 * Pearson 1934) for as many as are still seen at that age: 1 - 0.025^(1/n), two-sided kin of the
 * rule of three (Hanley, Lippman-Hand: If Nothing Goes Wrong, Is Everything All Right?, JAMA 249
 * (1983) 1743).
 */
#ifndef ANALYSIS_SURVIVAL_H
#define ANALYSIS_SURVIVAL_H

#include <stdbool.h>
#include <stddef.h>

/** Seen from age `entry` (0 or more) up to `end`; failed then, or only not seen any longer. */
struct survival_life {
    double entry, end;
    bool failed;
};

struct survival {
    double share, lower, upper; /* of 95 % */
    size_t at_risk;             /* lives seen at that age */
};

enum survival_status {
    SURVIVAL_OK = 0,
    SURVIVAL_TOO_YOUNG, /* none was seen at that age, or at some age before */
    SURVIVAL_INVALID    /* an age below 0 or not finite, or an end before its entry */
};

/** Sorts `lives` by their end, once, before survival_at. SURVIVAL_INVALID: not sorted. */
enum survival_status survival_sort(struct survival_life *lives, size_t count);

/** The share that works at `age`, of sorted lives. */
enum survival_status survival_at(const struct survival_life *lives, size_t count, double age,
                                 struct survival *result);

/**
 * Of those that work at the age `from`, the share that works on at `to` (not below `from`): from
 * what is seen behind `from` alone, so two that are watched for a year at that age suffice.
 */
enum survival_status survival_within(const struct survival_life *lives, size_t count, double from,
                                     double to, struct survival *result);

/** Why there is no share: "no fan was seen at that age"; NULL for SURVIVAL_OK. */
const char *survival_why(enum survival_status status);

#endif
