/*
 * service_manager against a notify socket of the test's own. Source of the wording: sd_notify(3)
 * and sd_watchdog_enabled(3) of systemd 252.
 */
#include "link/service_manager.h"
#include "test_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

static int manager;
static char folder[] = "/tmp/service_manager_XXXXXX", socket_path[64];

static void begin(void) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(socket_path, sizeof(socket_path), "%s/notify", folder);
    snprintf(address.sun_path, sizeof(address.sun_path), "%s", socket_path);
    manager = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    ck_assert_int_eq(bind(manager, (struct sockaddr *)&address, sizeof(address)), 0);
    setenv("NOTIFY_SOCKET", socket_path, 1);
}

static void end(void) {
    close(manager);
    unlink(socket_path);
    rmdir(folder);
}

static void expect(const char *wanted) {
    char got[1024];
    ssize_t length = recv(manager, got, sizeof(got) - 1, 0);
    ck_assert_int_ge((int)length, 0);
    got[length] = '\0';
    ck_assert_str_eq(got, wanted);
}

START_TEST(messages_are_those_of_the_manual) {
    service_manager_ready("40 systems");
    expect("READY=1\nSTATUS=40 systems");
    service_manager_reloading(1234567);
    expect("RELOADING=1\nMONOTONIC_USEC=1234567000");
    service_manager_stopping(NULL);
    expect("STOPPING=1\n");
    service_manager_status("broker lost");
    expect("STATUS=broker lost");
    service_manager_watchdog();
    expect("WATCHDOG=1");
    service_manager_extend_timeout(30000);
    expect("EXTEND_TIMEOUT_USEC=30000000");
}
END_TEST

START_TEST(a_status_stays_one_line) {
    service_manager_status("a\nREADY=1\r\x1b[1m");
    expect("STATUS=a READY=1  [1m");
    char text[2000];
    memset(text, 'x', sizeof(text) - 1);
    text[sizeof(text) - 1] = '\0';
    service_manager_status(text);
    char got[1024];
    ck_assert_int_lt((int)recv(manager, got, sizeof(got), 0), 300);
}
END_TEST

START_TEST(without_a_manager_nothing_happens) {
    unsetenv("NOTIFY_SOCKET");
    service_manager_ready("x");
    service_manager_watchdog();
    char got[16];
    ck_assert_int_eq((int)recv(manager, got, sizeof(got), 0), -1);
    ck_assert_int_eq(service_manager_watchdog_interval_ms(), 0);
}
END_TEST

START_TEST(watchdog_is_half_of_what_is_asked) {
    char pid[16];
    snprintf(pid, sizeof(pid), "%d", (int)getpid());
    setenv("WATCHDOG_USEC", "30000000", 1);
    setenv("WATCHDOG_PID", pid, 1);
    ck_assert_int_eq(service_manager_watchdog_interval_ms(), 15000);
    setenv("WATCHDOG_USEC", "1", 1);
    ck_assert_int_eq(service_manager_watchdog_interval_ms(), 1);
    setenv("WATCHDOG_PID", "1", 1); /* meant for another process */
    ck_assert_int_eq(service_manager_watchdog_interval_ms(), 0);
    setenv("WATCHDOG_PID", pid, 1);
    setenv("WATCHDOG_USEC", "soon", 1);
    ck_assert_int_eq(service_manager_watchdog_interval_ms(), 0);
}
END_TEST

START_TEST(credentials_are_found_by_name_only) {
    char path[128];
    snprintf(path, sizeof(path), "%s/broker-password", folder);
    fclose(fopen(path, "w"));
    unsetenv("CREDENTIALS_DIRECTORY");
    ck_assert_ptr_null(service_manager_credential("broker-password"));
    setenv("CREDENTIALS_DIRECTORY", folder, 1);
    char *found = service_manager_credential("broker-password");
    ck_assert_ptr_nonnull(found);
    ck_assert_str_eq(found, path);
    free(found);
    ck_assert_ptr_null(service_manager_credential("other"));
    ck_assert_ptr_null(service_manager_credential(""));
    ck_assert_ptr_null(service_manager_credential(".."));
    ck_assert_ptr_null(service_manager_credential("../etc/passwd"));
    setenv("CREDENTIALS_DIRECTORY", "relative", 1);
    ck_assert_ptr_null(service_manager_credential("broker-password"));
    unlink(path);
}
END_TEST

int main(void) {
    TCase *manager_case = tcase_create("service_manager");
    tcase_add_checked_fixture(manager_case, begin, end);
    tcase_add_test(manager_case, messages_are_those_of_the_manual);
    tcase_add_test(manager_case, a_status_stays_one_line);
    tcase_add_test(manager_case, without_a_manager_nothing_happens);
    tcase_add_test(manager_case, watchdog_is_half_of_what_is_asked);
    tcase_add_test(manager_case, credentials_are_found_by_name_only);
    return run_test_case(manager_case);
}
