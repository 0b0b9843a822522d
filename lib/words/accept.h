/*
 * accept: which of our content types a client would rather have (RFC 9110, section 12.5.1), and the
 * weights that it gives them. Pure.
 */
#ifndef WORDS_ACCEPT_H
#define WORDS_ACCEPT_H

#include <stddef.h>

/**
 * The place in `types` ("text/plain", without parameters) that the header prefers; of equals, and
 * when nothing fits or the header is NULL, the first.
 */
size_t accept_choose(const char *header, const char *const *types, size_t count);

/**
 * The weight among the parameters of a range, "; charset=x; q=0.8", up to `end`: `usual` without
 * one, 0 for one that is no number from 0 to 1 (section 12.4.2).
 */
double accept_weight(const char *parameters, const char *end, double usual);

#endif
