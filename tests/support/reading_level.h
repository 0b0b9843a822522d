/*
 * reading_level: how hard a text is to read, by the usual formulas. A line's end ends a sentence,
 * as do . ! ? and : at one.
 */
#ifndef READING_LEVEL_H
#define READING_LEVEL_H

/**
 * School grade of an English text: 0.39 words/sentences + 11.8 syllables/words - 15.59, Kincaid,
 * Fishburne, Rogers and Chissom 1975 (Navy Research Branch Report 8-75).
 */
double reading_grade_english(const char *text);

/**
 * Ease of a Spanish text: 206.84 - 60 syllables/words - 1.02 words/sentences, Fernandez Huerta 1959
 * (Consigna 214, 29-32), with the sign of the second part as Law 2011 mended it (both from memory).
 * His table: 90 to 100 fourth grade, 80 to 90 fifth, 70 to 80 sixth, 60 to 70 seventh and eighth.
 */
double reading_ease_spanish(const char *text);

#endif
