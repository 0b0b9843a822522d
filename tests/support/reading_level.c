#include "reading_level.h"

#include <ctype.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

struct counted {
    int words, sentences, syllables;
};

/* Groups of vowels, a silent e at the end left out: the usual count by machine. */
static int english_syllables(const char *word, size_t length) {
    int count = 0;
    bool before = false;
    for (size_t i = 0; i < length; i++) {
        bool vowel = strchr("aeiouy", tolower((unsigned char)word[i])) != NULL;
        count += vowel && !before;
        before = vowel;
    }
    if (length > 2 && tolower((unsigned char)word[length - 1]) == 'e' && count > 1 &&
        !strchr("aeiouyl", tolower((unsigned char)word[length - 2])))
        count--;
    return count > 0 ? count : 1;
}

/* A Spanish letter to what counts: 's' strong vowel, 'w' weak, 'a' weak with an accent, 0 none. */
static char kind_of_letter(const char *at, size_t *bytes) {
    static const char *const strong[] = {"á", "é", "ó", "Á", "É", "Ó"};
    static const char *const accented[] = {"í", "ú", "Í", "Ú"};
    *bytes = (unsigned char)*at < 0x80 ? 1 : 2;
    for (size_t i = 0; i < sizeof strong / sizeof strong[0]; i++)
        if (strncmp(at, strong[i], 2) == 0)
            return 's';
    for (size_t i = 0; i < sizeof accented / sizeof accented[0]; i++)
        if (strncmp(at, accented[i], 2) == 0)
            return 'a';
    if (strncmp(at, "ü", 2) == 0)
        return 'w';
    char letter = (char)tolower((unsigned char)*at);
    return letter && strchr("aeo", letter) ? 's' : letter == 'i' || letter == 'u' ? 'w' : '\0';
}

/* A strong vowel is a syllable, and so is an accented weak one; weak ones join their neighbours. A
   y that ends a word joins the vowel before it, and one alone is a word. */
static int spanish_syllables(const char *word, size_t length) {
    int count = 0;
    char before = '\0';
    for (size_t i = 0, bytes; i < length; i += bytes) {
        char kind = kind_of_letter(word + i, &bytes);
        if (kind == 's')
            count += before != 'w';
        else if (kind == 'a')
            count += 1;
        else if (kind == 'w')
            count += before == '\0' || before == 'a';
        before = kind;
    }
    return count > 0 ? count : 1;
}

static bool is_letter(const char *at) {
    return isalpha((unsigned char)*at) || (unsigned char)*at >= 0x80 || *at == '\'';
}

static struct counted count(const char *text, int (*syllables)(const char *word, size_t length)) {
    struct counted counted = {0, 0, 0};
    bool open = false;
    while (*text) {
        size_t length = 0;
        while (is_letter(text + length))
            length++;
        if (length > 0) {
            counted.words++;
            counted.syllables += syllables(text, length);
            open = true;
            text += length;
            continue;
        }
        if (open && strchr(".!?\n", *text)) {
            counted.sentences++;
            open = false;
        }
        text++;
    }
    counted.sentences += open ? 1 : 0;
    return counted;
}

double reading_grade_english(const char *text) {
    struct counted found = count(text, english_syllables);
    return 0.39 * found.words / found.sentences + 11.8 * found.syllables / found.words - 15.59;
}

double reading_ease_spanish(const char *text) {
    struct counted found = count(text, spanish_syllables);
    return 206.84 - 60.0 * found.syllables / found.words - 1.02 * found.words / found.sentences;
}
