#include "link/datagram.h"

#include <stddef.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

bool datagram_send(const char *path, const char *bytes, size_t length) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    size_t name = strlen(path);
    if (name < 2 || name >= sizeof address.sun_path || (path[0] != '/' && path[0] != '@'))
        return false;
    memcpy(address.sun_path, path, name);
    if (path[0] == '@')
        address.sun_path[0] = '\0';
    /* A file's name ends with a zero byte; an abstract one is as long as the address says. */
    size_t size = offsetof(struct sockaddr_un, sun_path) + name + (path[0] == '/');
    int descriptor = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (descriptor < 0)
        return false;
    ssize_t sent = sendto(descriptor, bytes, length, MSG_NOSIGNAL,
                          (const struct sockaddr *)&address, (socklen_t)size);
    close(descriptor);
    return sent == (ssize_t)length;
}
