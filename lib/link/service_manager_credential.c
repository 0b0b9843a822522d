/*
 * On its own, so that the operator's tool, which reads secrets, is not linked with libsystemd.
 */
#include "link/service_manager.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

char *service_manager_credential(const char *name) {
    const char *folder = getenv("CREDENTIALS_DIRECTORY");
    char *path = NULL;
    if (!folder || folder[0] != '/' || !name[0] || strchr(name, '/') || name[0] == '.')
        return NULL;
    if (asprintf(&path, "%s/%s", folder, name) < 0)
        return NULL;
    if (access(path, R_OK) == 0)
        return path;
    free(path);
    return NULL;
}
