#include "web.h"

#include "api/api.h"
#include "page/page.h"

void web_handle(void *context, const struct web_request *request, struct web_answer *answer) {
    struct api *api = context;
    if (page_handle(api, request, answer))
        return;
    api_handle(api, request, request->from_operator || page_may_change(api, request), answer);
}
