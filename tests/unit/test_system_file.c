#include "settings/system_file.h"

#include "settings/error_list.h"
#include "settings/system_description.h"
#include "settings/yaml_tree.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct yaml_tree_node *read_back(const char *text) {
    struct settings_errors errors = {0};
    struct yaml_tree_node *root = yaml_tree_parse("written.yaml", text, strlen(text), &errors);
    ck_assert_msg(root != NULL, "%s\n%s", errors.count ? errors.lines[0] : "no error", text);
    settings_errors_free(&errors);
    return root;
}

static const char *text_at(const struct yaml_tree_node *node, const char *key) {
    const struct yaml_tree_entry *entry = yaml_tree_find(node, key);
    return entry ? entry->value.text : NULL;
}

static const struct system_file_branch one_fan[] = {{.inside_diameter = "3.068 in",
                                                     .model = "radial-150",
                                                     .serial = "0017",
                                                     .installed = "2025-09-30",
                                                     .discharge = "roof"}};
static const struct system_file_point two_points[] = {
    {.id = "suction",
     .name = "suction, in the riser",
     .quantity = "suction",
     .topic = "subslab/gauge 7/p",
     .unit = "inH2O",
     .every = "10 min",
     .value = "/pressure/inwc",
     .time = "/ts"},
    {.id = "battery", .quantity = "battery", .unit = "%"}};

START_TEST(it_reads_like_a_file_of_a_person) {
    const struct system_file file = {.comment = "Enrolled by the \xC3\xA9lectrician.\nid: other",
                                     .id = "maple-lane-4",
                                     .name = "4 Maple Lane",
                                     .address = "4 Maple Lane, back door",
                                     .time_zone = "America/Denver",
                                     .region = "",
                                     .contacts = "office; owner-4,",
                                     .branches = one_fan,
                                     .branch_count = 1,
                                     .points = two_points,
                                     .point_count = 2};
    char *text = system_file_write(&file);
    ck_assert_str_eq(text, "# Enrolled by the ??lectrician.?id: other\n"
                           "id: maple-lane-4\n"
                           "name: 4 Maple Lane\n"
                           "address: 4 Maple Lane, back door\n"
                           "time_zone: America/Denver\n"
                           "pipe: {inside_diameter: 3.068 in}\n"
                           "fan: {model: radial-150, serial: \"0017\", installed: 2025-09-30}\n"
                           "discharge: roof\n"
                           "contacts: [office, owner-4]\n"
                           "points:\n"
                           "  - id: suction\n"
                           "    name: suction, in the riser\n"
                           "    quantity: suction\n"
                           "    topic: subslab/gauge 7/p\n"
                           "    unit: inH2O\n"
                           "    every: 10 min\n"
                           "    value: /pressure/inwc\n"
                           "    time: /ts\n"
                           "  - id: battery\n"
                           "    quantity: battery\n"
                           "    unit: \"%\"\n");
    struct settings_errors errors = {0};
    struct system_description *system =
        system_description_parse("maple.yaml", text, strlen(text), NULL, &errors);
    ck_assert_msg(system != NULL, "%s", errors.count ? errors.lines[0] : "no error");
    ck_assert_str_eq(system->name, "4 Maple Lane");
    ck_assert_str_eq(system->branches[0].fan.serial, "0017");
    ck_assert_double_eq_tol(system->branches[0].pipe_inside_diameter_m, 3.068 * 0.0254, 1e-9);
    ck_assert_uint_eq(system->contact_count, 2);
    ck_assert_str_eq(system->points[0].topic, "subslab/gauge 7/p");
    ck_assert_str_eq(system->points[0].binding.value_pointer, "/pressure/inwc");
    ck_assert_str_eq(system->points[1].topic, "subslab/maple-lane-4/battery");
    system_description_free(system);
    settings_errors_free(&errors);
    free(text);
}
END_TEST

START_TEST(several_branches_become_a_list) {
    static const struct system_file_branch branches[] = {
        {.id = "east", .inside_diameter = "3 in", .model = "radial-150"}, {.id = "west"}};
    static const struct system_file_point points[] = {
        {.id = "s", .quantity = "suction", .branch = "west"}};
    const struct system_file file = {
        .id = "twin", .branches = branches, .branch_count = 2, .points = points, .point_count = 1};
    char *text = system_file_write(&file);
    struct settings_errors errors = {0};
    struct system_description *system =
        system_description_parse("twin.yaml", text, strlen(text), NULL, &errors);
    ck_assert_msg(system != NULL, "%s\n%s", errors.count ? errors.lines[0] : "no error", text);
    ck_assert_uint_eq(system->branch_count, 2);
    ck_assert_str_eq(system->branches[0].fan.model, "radial-150");
    ck_assert_uint_eq(system->points[0].branch, 1);
    system_description_free(system);
    settings_errors_free(&errors);
    free(text);
}
END_TEST

/* What people and attackers type; each must come back byte by byte wherever it stands. */
static const char *const odd_texts[] = {"yes",
                                        "No",
                                        "null",
                                        "~",
                                        "on",
                                        "-",
                                        "- a",
                                        "-1",
                                        "+12",
                                        "007",
                                        "1e5",
                                        "0x1F",
                                        "12:30:00",
                                        "1_000",
                                        "2025-09-30",
                                        "2025-09-30T10:00:00Z",
                                        ".5",
                                        ".nan",
                                        "=",
                                        "<<",
                                        "&anchor",
                                        "*alias",
                                        "!tag",
                                        "%YAML 1.1",
                                        "@home",
                                        "`x`",
                                        "? key",
                                        ": value",
                                        "key: value",
                                        "key:",
                                        "a:b",
                                        "a #b",
                                        "a#b",
                                        "#",
                                        "'single'",
                                        "\"double\"",
                                        "it's",
                                        "back\\slash",
                                        "[list",
                                        "{map}",
                                        "a, b",
                                        "a]",
                                        "}",
                                        ",",
                                        "---",
                                        "...",
                                        "--- a",
                                        " leading",
                                        "trailing ",
                                        "two  blanks",
                                        "tab\there",
                                        "line\nbreak",
                                        "cr\rlf\r\n",
                                        "\x01\x1b[31mred",
                                        "\x7f",
                                        "caf\xC3\xA9",
                                        "\xC2\x85next line",
                                        "\xC2\xA0hard blank",
                                        "\xE2\x80\xA8line",
                                        "x\xE2\x80\xA9",
                                        "\xEF\xBB\xBFmark",
                                        "\xEF\xBF\xBE",
                                        "\xEF\xBF\xBF",
                                        "\xF0\x9F\x8F\xA0",
                                        "\xE4\xB8\xAD\xE6\x96\x87",
                                        "name: x\npoints: []",
                                        "\"\nid: other\n#",
                                        "|",
                                        ">-",
                                        "a\n",
                                        "%",
                                        "%RH",
                                        "/",
                                        "/a~1b",
                                        "\xC2\xB0\x43",
                                        "<script>alert(1)</script>",
                                        "{{x}}"};

static void check_everywhere(const char *text) {
    const struct system_file_branch branch = {.model = text, .serial = text, .discharge = text};
    const struct system_file_point point = {
        .id = text, .name = text, .quantity = text, .topic = text, .value = text};
    const struct system_file file = {.comment = text,
                                     .id = text,
                                     .name = text,
                                     .address = text,
                                     .branches = &branch,
                                     .branch_count = 1,
                                     .points = &point,
                                     .point_count = 1};
    char *written = system_file_write(&file);
    struct yaml_tree_node *root = read_back(written);
    const struct yaml_tree_node *fan = &yaml_tree_find(root, "fan")->value;
    const struct yaml_tree_node *first = &yaml_tree_find(root, "points")->value.entries[0].value;
    ck_assert_uint_eq(root->count, 6);
    ck_assert_uint_eq(first->count, 5);
    ck_assert_str_eq(text_at(root, "id"), text);
    ck_assert_str_eq(text_at(root, "address"), text);
    ck_assert_str_eq(text_at(root, "discharge"), text);
    ck_assert_str_eq(text_at(fan, "model"), text);
    ck_assert_str_eq(text_at(fan, "serial"), text);
    ck_assert_str_eq(text_at(first, "id"), text);
    ck_assert_str_eq(text_at(first, "topic"), text);
    ck_assert_str_eq(text_at(first, "value"), text);
    yaml_tree_free(root);
    free(written);
}

START_TEST(an_odd_text_comes_back) {
    check_everywhere(odd_texts[_i]);
}
END_TEST

START_TEST(any_text_comes_back) {
    static const char *const pieces[] = {" ",
                                         ":",
                                         "#",
                                         "-",
                                         "'",
                                         "\"",
                                         "\\",
                                         ",",
                                         "[",
                                         "}",
                                         "\n",
                                         "\t",
                                         "a",
                                         "Z",
                                         "0",
                                         "9",
                                         ".",
                                         "%",
                                         "&",
                                         "\xC3\xA9",
                                         "\xC2\x80",
                                         "\xE2\x80\xA8",
                                         "\xE2\x82\xAC",
                                         "\xF0\x9F\x94\xA5",
                                         "\x02"};
    struct test_random random = {.state = test_seed()};
    for (int run = 0; run < 3000; run++) {
        char text[80] = "";
        size_t length = 1 + test_random_below(&random, 12);
        for (size_t i = 0; i < length; i++)
            strcat(text, pieces[test_random_next(&random) % (sizeof pieces / sizeof pieces[0])]);
        check_everywhere(text);
    }
}
END_TEST

/* Not UTF-8: the reader says so, and takes nothing of it. */
START_TEST(bytes_that_are_no_text_are_refused_by_the_reader) {
    const struct system_file file = {.id = "h", .name = "caf\xE9 \xC3"};
    struct settings_errors errors = {0};
    char *text = system_file_write(&file);
    ck_assert_ptr_null(yaml_tree_parse("h.yaml", text, strlen(text), &errors));
    ck_assert_ptr_nonnull(strstr(errors.lines[0], "allowed: UTF-8 text"));
    settings_errors_free(&errors);
    free(text);
}
END_TEST

int main(void) {
    TCase *file = tcase_create("system_file");
    tcase_add_test(file, it_reads_like_a_file_of_a_person);
    tcase_add_test(file, several_branches_become_a_list);
    tcase_add_loop_test(file, an_odd_text_comes_back, 0, sizeof odd_texts / sizeof odd_texts[0]);
    tcase_add_test(file, any_text_comes_back);
    tcase_add_test(file, bytes_that_are_no_text_are_refused_by_the_reader);
    return run_test_case(file);
}
