/*
 * The form to sign in.
 */
#include "page/view_text.h"

#include <string.h>

void page_sign_in(struct page_view *view, const char *complaint) {
    const struct page_head head = {.title = "Sign in", .system = FLEET_NONE};
    const char *next = page_query(view, "next");
    page_begin(view, &head);
    html_markup(&view->html, "<h1>Sign in</h1>");
    if (complaint)
        html_element(&view->html, "p", complaint, "class", "notice", "role", "alert", NULL);
    if (!view->api->fleet->settings->page_access_file) {
        html_markup(&view->html,
                    "<p>No accounts are set up, so this page only shows. To acknowledge, shelve "
                    "and write down visits here, name a file of accounts as page.access_file in "
                    "the settings; subslabctl does the same without one.</p>");
    } else {
        html_markup(&view->html, "<form method=\"post\" action=\"/sign-in\" class=\"sign-in\">");
        html_empty(&view->html, "input", "type", "hidden", "name", "next", "value", next, NULL);
        html_markup(&view->html,
                    "<p><label for=\"name\">Name</label> <input id=\"name\" name=\"name\" "
                    "autocomplete=\"username\" required maxlength=\"63\"></p>"
                    "<p><label for=\"password\">Password</label> <input id=\"password\" "
                    "name=\"password\" type=\"password\" autocomplete=\"current-password\" "
                    "required maxlength=\"512\"></p><p><button type=\"submit\">Sign in</button>"
                    "</p></form>");
    }
    page_end(view, complaint ? 403 : 200);
}
