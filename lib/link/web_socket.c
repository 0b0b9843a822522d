#include "link/web_socket.h"

#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define BACKLOG SOMAXCONN /* many who are slow must not keep others from knocking */

static int fail(int descriptor, const char *what, char *why, size_t why_size) {
    snprintf(why, why_size, "%s: %s", what, strerror(errno));
    if (descriptor >= 0)
        close(descriptor);
    return -1;
}

int web_socket_listen_tcp(const char *address, int port, char *why, size_t why_size) {
    const struct addrinfo hints = {.ai_flags = AI_NUMERICHOST | AI_NUMERICSERV,
                                   .ai_socktype = SOCK_STREAM};
    struct addrinfo *info = NULL;
    char port_text[16], what[128];
    snprintf(port_text, sizeof(port_text), "%d", port);
    snprintf(what, sizeof(what), "%s, port %d", address, port);
    const char *numeric = strcmp(address, "localhost") == 0 ? "127.0.0.1" : address;
    if (port < 0 || port > 65535 || getaddrinfo(numeric, port_text, &hints, &info)) {
        snprintf(why, why_size, "%s: needs an IPv4 or IPv6 address and a port up to 65535", what);
        return -1;
    }
    const int on = 1;
    int descriptor = socket(info->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    bool good =
        descriptor >= 0 && setsockopt(descriptor, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) == 0 &&
        (info->ai_family != AF_INET6 ||
         setsockopt(descriptor, IPPROTO_IPV6, IPV6_V6ONLY, &on, sizeof(on)) == 0) &&
        bind(descriptor, info->ai_addr, info->ai_addrlen) == 0 && listen(descriptor, BACKLOG) == 0;
    int error = errno;
    freeaddrinfo(info);
    errno = error;
    return good ? descriptor : fail(descriptor, what, why, why_size);
}

int web_socket_port(int descriptor) {
    union {
        struct sockaddr any;
        struct sockaddr_in in;
        struct sockaddr_in6 in6;
        struct sockaddr_storage storage;
    } address = {0};
    socklen_t length = sizeof(address);
    if (getsockname(descriptor, &address.any, &length))
        return 0;
    if (address.any.sa_family == AF_INET)
        return ntohs(address.in.sin_port);
    return address.any.sa_family == AF_INET6 ? ntohs(address.in6.sin6_port) : 0;
}

/** Does a process listen there? */
static bool answers(const struct sockaddr_un *address, bool *refused) {
    int descriptor = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    int result = connect(descriptor, (const struct sockaddr *)address, sizeof(*address));
    *refused = result < 0 && errno == ECONNREFUSED;
    close(descriptor);
    return result == 0;
}

/** Removes what an earlier run left behind, and nothing else. */
static bool make_way(const struct sockaddr_un *address, char *why, size_t why_size) {
    struct stat there;
    bool refused = false;
    if (lstat(address->sun_path, &there))
        return true; /* nothing there, or bind will say what is wrong */
    if (!S_ISSOCK(there.st_mode)) {
        snprintf(why, why_size, "%s: is there already and is no socket", address->sun_path);
        return false;
    }
    if (answers(address, &refused)) {
        snprintf(why, why_size, "%s: another process listens there", address->sun_path);
        return false;
    }
    if (refused && unlink(address->sun_path) == 0)
        return true;
    snprintf(why, why_size, "%s: a socket is there and cannot be replaced", address->sun_path);
    return false;
}

int web_socket_listen_unix(const char *path, char *why, size_t why_size) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    size_t length = strlen(path);
    if (length == 0 || length >= sizeof(address.sun_path)) {
        snprintf(why, why_size, "%s: a socket's path has 1 to %zu bytes", path,
                 sizeof(address.sun_path) - 1);
        return -1;
    }
    memcpy(address.sun_path, path, length + 1);
    if (!make_way(&address, why, why_size))
        return -1;
    int descriptor = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (descriptor < 0)
        return fail(descriptor, path, why, why_size);
    fchmod(descriptor, 0660); /* the file is never wider than this, whatever the umask */
    if (bind(descriptor, (const struct sockaddr *)&address, sizeof(address)) || chmod(path, 0660) ||
        listen(descriptor, BACKLOG))
        return fail(descriptor, path, why, why_size);
    return descriptor;
}
