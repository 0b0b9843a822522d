/*
 * web_socket: the listening sockets under web_server. Close-on-exec and non-blocking.
 */
#ifndef LINK_WEB_SOCKET_H
#define LINK_WEB_SOCKET_H

#include <stddef.h>

/** A listening TCP socket; `address` is an IPv4 or IPv6 address or "localhost". -1 with `why`. */
int web_socket_listen_tcp(const char *address, int port, char *why, size_t why_size);
/** The port it really has, 0 when it has none. */
int web_socket_port(int descriptor);

/**
 * A listening Unix socket with mode 0660. A socket at `path` that nobody answers on is replaced; a
 * live one, or anything that is no socket, is left alone. -1 with `why`.
 */
int web_socket_listen_unix(const char *path, char *why, size_t why_size);

#endif
