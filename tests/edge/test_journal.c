/*
 * journal against a socket of the test's own. Source: systemd's "Native Journal Protocol" and
 * systemd.exec(5) on $JOURNAL_STREAM, of systemd 252; the real journal is asked in tests/package.
 */
#include "link/datagram.h"
#include "link/journal.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

static int journal;
static char folder[] = "/tmp/journal_XXXXXX", socket_path[64];

static void begin(void) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(socket_path, sizeof socket_path, "%s/socket", folder);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", socket_path);
    journal = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    ck_assert_int_eq(bind(journal, (struct sockaddr *)&address, sizeof address), 0);
}

static void end(void) {
    close(journal);
    unlink(socket_path);
    rmdir(folder);
}

static void expect(const char *wanted) {
    char got[8192];
    ssize_t length = recv(journal, got, sizeof got - 1, 0);
    ck_assert_int_ge((int)length, 0);
    got[length] = '\0';
    ck_assert_str_eq(got, wanted);
}

START_TEST(an_entry_is_one_datagram_of_lines) {
    const struct journal_field fields[] = {
        {"MESSAGE", "mill: suction-low raised"},
        {"PRIORITY", "4"},
        {"SUBSLAB_POINT", NULL},
        {"SUBSLAB_SYSTEM", "mill"},
    };
    ck_assert(journal_send(socket_path, fields, 4));
    expect("MESSAGE=mill: suction-low raised\nPRIORITY=4\nSUBSLAB_SYSTEM=mill\n");
}
END_TEST

START_TEST(a_value_begins_no_other_field) {
    const struct journal_field field = {"MESSAGE", "a\nPRIORITY=0\x1b[1m\x7f"};
    ck_assert(journal_send(socket_path, &field, 1));
    expect("MESSAGE=a PRIORITY=0 [1m \n");
}
END_TEST

START_TEST(what_does_not_fit_or_is_not_taken_is_told) {
    char text[5000];
    memset(text, 'x', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    struct journal_field fields[] = {{"MESSAGE", text}, {"PRIORITY", "4"}};
    ck_assert(!journal_send(socket_path, fields, 2));
    text[4000] = '\0';
    ck_assert(journal_send(socket_path, fields, 2));
    ck_assert(!journal_send("/nowhere/at/all", fields, 2));
    ck_assert(!journal_send("relative", fields, 2));
    ck_assert(!journal_send("", fields, 2));
    memset(text, '/', 200);
    text[200] = '\0';
    ck_assert(!datagram_send(text, "x", 1)); /* longer than a socket's name may be */
}
END_TEST

START_TEST(an_abstract_name_has_no_end) { /* unix(7) */
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    char got[8], name[40];
    snprintf(name, sizeof name, "@subslab-test-%d", (int)getpid());
    memcpy(address.sun_path + 1, name + 1, strlen(name + 1));
    int listener = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    ck_assert_int_eq(bind(listener, (struct sockaddr *)&address,
                          (socklen_t)(sizeof(sa_family_t) + strlen(name))),
                     0);
    ck_assert(datagram_send(name, "READY=1", 7));
    ck_assert_int_eq((int)recv(listener, got, sizeof got, 0), 7);
    close(listener);
}
END_TEST

START_TEST(the_stream_is_known_by_device_and_inode) {
    char stream[64];
    struct stat file;
    ck_assert_int_eq(fstat(journal, &file), 0);
    unsetenv("JOURNAL_STREAM");
    ck_assert(!journal_is_at(journal));
    snprintf(stream, sizeof stream, "%llu:%llu", (unsigned long long)file.st_dev,
             (unsigned long long)file.st_ino);
    setenv("JOURNAL_STREAM", stream, 1);
    ck_assert(journal_is_at(journal));
    ck_assert(!journal_is_at(STDERR_FILENO)); /* sent elsewhere: 2>file */
    ck_assert(!journal_is_at(-1));
    setenv("JOURNAL_STREAM", "8:12345678", 1);
    ck_assert(!journal_is_at(journal));
    unsetenv("JOURNAL_STREAM");
}
END_TEST

int main(void) {
    TCase *journal_case = tcase_create("journal");
    tcase_add_checked_fixture(journal_case, begin, end);
    tcase_add_test(journal_case, an_entry_is_one_datagram_of_lines);
    tcase_add_test(journal_case, a_value_begins_no_other_field);
    tcase_add_test(journal_case, what_does_not_fit_or_is_not_taken_is_told);
    tcase_add_test(journal_case, an_abstract_name_has_no_end);
    tcase_add_test(journal_case, the_stream_is_known_by_device_and_inode);
    return run_test_case(journal_case);
}
