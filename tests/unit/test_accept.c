/*
 * Which content type a client would rather have. Rules: RFC 9110, section 12.5.1; the first two
 * headers are those that Prometheus 2.42 and curl send.
 */
#include "words/accept.h"

#include "test_support.h"

static const char *const types[] = {"application/openmetrics-text", "text/plain"};

static const struct {
    const char *header;
    size_t chosen;
} rows[] = {
    {"application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,"
     "text/plain;version=0.0.4;q=0.5,*/*;q=0.1",
     0},
    {"*/*", 0},
    {NULL, 0},
    {"", 0},
    {"text/plain", 1},
    {"text/plain;version=0.0.4;q=0.3", 1},
    {"text/plain; version=0.0.4; q=0.8, application/openmetrics-text; q=0.5", 1},
    {"text/plain;q=0.5, */*;q=0.1", 1},
    {"text/*", 1},
    {"TEXT/PLAIN", 1},
    {"text/plain;q=0, */*", 0},
    {"text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", 0},
    {"image/png", 0},
    {"text/plainer", 0},
    {"text/plain , application/openmetrics-text;q=1.0", 0},
    {";;,,=q;q", 0},
    /* a weight that is none (RFC 9110, section 12.4.2: 0 to 1) wants nothing */
    {"application/openmetrics-text;q=0.2, text/plain;q=2", 0},
    {"application/openmetrics-text;q=0.2, text/plain;q=0.5x", 0},
    {"application/openmetrics-text;q=0.2, text/plain;q=0x1", 0},
    {"application/openmetrics-text;q=-1, text/plain;q=0.1", 1},
    {"application/openmetrics-text;q=0.2, text/plain ; q=0.5 , */*;q=0.1", 1},
};

START_TEST(the_best_fit_decides) {
    size_t chosen = accept_choose(rows[_i].header, types, 2);
    ck_assert_msg(chosen == rows[_i].chosen, "%s: %zu", rows[_i].header ? rows[_i].header : "-",
                  chosen);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("accept");
    tcase_add_loop_test(tcase, the_best_fit_decides, 0, sizeof rows / sizeof rows[0]);
    return run_test_case(tcase);
}
