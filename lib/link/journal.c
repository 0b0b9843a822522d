#include "link/journal.h"

#include "link/datagram.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define ENTRY_BYTES 4096

bool journal_is_at(int descriptor) {
    const char *stream = getenv("JOURNAL_STREAM");
    char here[64];
    struct stat file;
    if (!stream || fstat(descriptor, &file) != 0)
        return false;
    snprintf(here, sizeof here, "%llu:%llu", (unsigned long long)file.st_dev,
             (unsigned long long)file.st_ino);
    return strcmp(stream, here) == 0;
}

/* One field: a line break would begin another. */
static size_t put_field(char *entry, size_t used, const struct journal_field *field) {
    int wrote = snprintf(entry + used, ENTRY_BYTES - used, "%s=%s", field->name, field->value);
    if (wrote < 0 || used + (size_t)wrote + 1 >= ENTRY_BYTES)
        return ENTRY_BYTES;
    for (char *at = entry + used; *at; at++) {
        if ((unsigned char)*at < ' ' || *at == 0x7f)
            *at = ' ';
    }
    used += (size_t)wrote;
    entry[used] = '\n';
    return used + 1;
}

bool journal_send(const char *socket, const struct journal_field *fields, size_t count) {
    char entry[ENTRY_BYTES];
    size_t used = 0;
    for (size_t i = 0; i < count && used < sizeof entry; i++) {
        if (fields[i].value)
            used = put_field(entry, used, &fields[i]);
    }
    return used < sizeof entry && datagram_send(socket, entry, used);
}
