#include "page/choice.h"
#include "page/view_words.h"
#include "words/wording.h"

#include <string.h>

enum { OPTIONS_MOST = 200 };

void page_option(struct page_view *view, const char *value, const char *text, bool chosen) {
    html_element(&view->html, "option", text, "value", value, "selected", chosen ? "" : NULL, NULL);
}

static const struct neighbours *neighbours_of(const struct api *api) {
    return monitor_neighbours(pipeline_monitor(api->pipeline));
}

void page_region_choice(struct page_view *view) {
    const struct neighbours *neighbours = neighbours_of(view->api);
    const char *asked = page_query(view, "region"), *region;
    if (!neighbours_region(neighbours, 1))
        return;
    page_label(view, "region", PAGE_REGION);
    html_markup(&view->html, "<select id=\"region\" name=\"region\">");
    page_option(view, "", page_words(view, PAGE_ALL), !*asked);
    for (size_t i = 0; i < OPTIONS_MOST && (region = neighbours_region(neighbours, i)); i++)
        page_option(view, region, region, strcmp(region, asked) == 0);
    html_markup(&view->html, "</select> ");
}

void page_contact_choice(struct page_view *view) {
    const struct settings *settings = view->api->fleet->settings;
    const char *asked = page_query(view, "contact");
    if (settings->contact_count < 2)
        return;
    page_label(view, "contact", PAGE_CONTACT);
    html_markup(&view->html, "<select id=\"contact\" name=\"contact\">");
    page_option(view, "", page_words(view, PAGE_ALL), !*asked);
    for (size_t i = 0; i < settings->contact_count && i < OPTIONS_MOST; i++)
        page_option(view, settings->contacts[i].id, settings->contacts[i].id,
                    strcmp(settings->contacts[i].id, asked) == 0);
    html_markup(&view->html, "</select> ");
}

void page_keep_choices(struct page_view *view) {
    if (view->units_chosen)
        html_hidden(&view->html, "units", view->units == UNIT_SYSTEM_SI ? "si" : "us");
    if (view->language_chosen)
        html_hidden(&view->html, "language", wording_language_code(view->language));
}

bool page_is_in_region(const struct api *api, size_t system, const char *region) {
    const char *name = NULL;
    if (!*region)
        return true;
    neighbours_systems(neighbours_of(api), system, &name);
    return strcmp(name, region) == 0;
}
