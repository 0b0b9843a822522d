/*
 * published_trends: series for trend tests and change points.
 * Each source stands beside its data.
 */
#ifndef PUBLISHED_TRENDS_H
#define PUBLISHED_TRENDS_H

#include <stddef.h>

#define PUBLISHED_COUNT(series) (sizeof(series) / sizeof((series)[0]))

/* Annual flow of the Nile at Aswan 1871-1970, 1e8 m3 (R datasets, Cobb 1978). */
static const double published_nile[] = {
    1120, 1160, 963, 1210, 1160, 1160, 813,  1230, 1370, 1140, 995,  935,  1110, 994,  1020,
    960,  1180, 799, 958,  1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774,  840,
    874,  694,  940, 833,  701,  916,  692,  1020, 1050, 969,  831,  726,  456,  824,  702,
    1120, 1100, 832, 764,  821,  768,  845,  864,  862,  698,  845,  744,  796,  1040, 759,
    781,  865,  845, 944,  984,  897,  822,  1010, 771,  676,  649,  846,  812,  742,  801,
    1040, 860,  874, 848,  890,  744,  749,  838,  1050, 918,  986,  797,  923,  975,  815,
    1020, 906,  901, 1170, 912,  746,  919,  718,  714,  740};

/* USEPA 530/R-09-007 (2009), Example 17-6: the published time column, year.month digits. */
static const double published_sulfate_time[] = {89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3,
                                                91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6,
                                                95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8};

/* The same: sulfate, ppm. */
static const double published_sulfate_ppm[] = {480, 450, 490, 520, 485, 510, 510, 530,
                                               510, 560, 560, 540, 590, 550, 600, 700,
                                               570, 610, 650, 620, 830, 720, 590};

/* USEPA 530/R-09-007 (2009), Example 14-10: 1983-1985, January first. */
static const double published_analyte[] = {1.99, 2.10, 2.12, 2.12, 2.11, 2.15, 2.19, 2.18, 2.16,
                                           2.08, 2.05, 2.08, 2.01, 2.10, 2.17, 2.13, 2.13, 2.18,
                                           2.25, 2.24, 2.22, 2.13, 2.08, 2.16, 2.15, 2.17, 2.27,
                                           2.23, 2.24, 2.26, 2.31, 2.32, 2.28, 2.22, 2.19, 2.22};

#endif
