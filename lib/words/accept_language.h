/*
 * accept_language: which of our languages a reader's browser asks for (RFC 9110, section 12.5.4).
 * Pure.
 */
#ifndef WORDS_ACCEPT_LANGUAGE_H
#define WORDS_ACCEPT_LANGUAGE_H

#include <stdbool.h>
#include <stddef.h>

/**
 * "es-MX,es;q=0.9,en;q=0.8": the one of our languages with the highest weight, of equal ones the
 * first. False (English) for NULL and for a header that asks for none of them.
 */
bool accept_language_find(const char *header, size_t *language);

#endif
