/*
 * journal: lines with fields of their own to systemd's journal, in its native protocol: a datagram
 * of lines NAME=VALUE (systemd, "Native Journal Protocol").
 */
#ifndef LINK_JOURNAL_H
#define LINK_JOURNAL_H

#include <stdbool.h>
#include <stddef.h>

#define JOURNAL_SOCKET "/run/systemd/journal/socket"

struct journal_field {
    const char *name;  /* capital letters, digits and _, the first a letter */
    const char *value; /* NULL: the field is left out; control characters become blanks */
};

/**
 * Does this descriptor lead to the journal? $JOURNAL_STREAM names the file that the service manager
 * gave us, "DEVICE:INODE" (systemd.exec(5)); a descriptor that was sent elsewhere since is another.
 */
bool journal_is_at(int descriptor);

/** False when there is no journal, or it does not fit (4 KiB). */
bool journal_send(const char *socket, const struct journal_field *fields, size_t count);

#endif
