/*
 * datagram: one message to a Unix socket of the service manager or the journal (unix(7)).
 */
#ifndef LINK_DATAGRAM_H
#define LINK_DATAGRAM_H

#include <stdbool.h>
#include <stddef.h>

/** `path`: a file name, or "@NAME" in the abstract name space. False when nobody took it. */
bool datagram_send(const char *path, const char *bytes, size_t length);

#endif
