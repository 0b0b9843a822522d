/*
 * The form to sign in.
 */
#include "page/view_words.h"

#include <string.h>

void page_sign_in(struct page_view *view, const struct page_form *typed, const char *complaint) {
    const struct page_head head = {.title = page_words(view, PAGE_SIGN_IN), .system = FLEET_NONE};
    const char *next = typed ? page_form_value(typed, "next") : page_query(view, "next");
    page_begin(view, &head);
    page_element(view, "h1", PAGE_SIGN_IN);
    if (complaint)
        html_element(&view->html, "p", complaint, "class", "notice", "role", "alert", NULL);
    if (!view->api->fleet->settings->page.access_file) {
        page_element(view, "p", PAGE_NO_ACCOUNTS);
    } else {
        struct html_address here = page_address(view, "/sign-in");
        html_open(&view->html, "form", "method", "post", "action", here.text, "class", "sign-in",
                  NULL);
        html_hidden(&view->html, "next", next);
        html_markup(&view->html, "<p>");
        page_label(view, "name", PAGE_NAME);
        html_empty(&view->html, "input", "id", "name", "name", "name", "value",
                   typed ? page_form_value(typed, "name") : "", "autocomplete", "username",
                   "required", "", "maxlength", "63", NULL);
        html_markup(&view->html, "</p><p>");
        page_label(view, "password", PAGE_PASSWORD);
        html_markup(&view->html,
                    "<input id=\"password\" name=\"password\" type=\"password\" "
                    "autocomplete=\"current-password\" required maxlength=\"512\"></p>");
        page_end_form(view, PAGE_SIGN_IN);
    }
    page_end(view, complaint ? 403 : 200);
}
