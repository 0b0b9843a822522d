#include "web.h"

#include "api/api.h"
#include "page/page.h"

#include <string.h>

/* Behind a proxy all stands below a path of its own. Some proxies cut it off and others leave it,
   and who asks at this machine need not know of it: both ways are answered. */
static const char *path_below(const char *base, const char *path) {
    size_t length = base ? strlen(base) : 0;
    if (length == 0 || strncmp(path, base, length) != 0)
        return path;
    return path[length] == '/' ? path + length : path[length] == '\0' ? "/" : path;
}

void web_handle(void *context, const struct web_request *request, struct web_answer *answer) {
    struct api *api = context;
    struct web_request asked = *request;
    if (!request->from_operator)
        asked.path = path_below(api->fleet->settings->page.base, request->path);
    if (page_handle(api, &asked, answer))
        return;
    api_handle(api, &asked, request->from_operator || page_may_change(api, &asked), answer);
}
