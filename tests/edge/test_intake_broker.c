/*
 * intake against a real broker (mosquitto) on free ports of loopback: kept sessions, restarts, TLS
 * with certificates made here by the openssl command, passwords, and a broker that stops answering.
 */
#include "intake_bench.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

static struct intake_bench bench;
static char folder[] = "/tmp/intake_broker_XXXXXX";
static int port;
static pid_t broker_pid;

/* ---- the broker ---- */

static int free_port(void) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t length = sizeof(address);
    int descriptor = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    ck_assert_int_eq(bind(descriptor, (struct sockaddr *)&address, sizeof(address)), 0);
    ck_assert_int_eq(getsockname(descriptor, (struct sockaddr *)&address, &length), 0);
    close(descriptor);
    return ntohs(address.sin_port);
}

__attribute__((format(printf, 1, 2))) static void shell(const char *format, ...) {
    char command[2048];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(command, sizeof(command), format, arguments);
    va_end(arguments);
    ck_assert_msg(system(command) == 0, "%s", command);
}

static void write_settings(const char *more) {
    char path[128];
    snprintf(path, sizeof(path), "%s/broker.conf", folder);
    FILE *file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    fprintf(file,
            "%slistener %d 127.0.0.1\npersistence true\npersistence_location %s/\n"
            "autosave_on_changes true\nautosave_interval 1\nmax_queued_messages 200000\n"
            "max_inflight_messages 200\nmessage_size_limit 65536\n%s\n",
            getuid() == 0 ? "user root\n" : "", port, folder, more);
    fclose(file);
}

static bool answers(void) {
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)port),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int descriptor = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool connected = connect(descriptor, (struct sockaddr *)&address, sizeof(address)) == 0;
    close(descriptor);
    return connected;
}

static void start_broker(void) {
    char settings[128], log[128];
    snprintf(settings, sizeof(settings), "%s/broker.conf", folder);
    snprintf(log, sizeof(log), "%s/broker.log", folder);
    broker_pid = fork();
    if (broker_pid == 0) {
        int descriptor = open(log, O_WRONLY | O_CREAT | O_APPEND, 0600);
        dup2(descriptor, STDERR_FILENO);
        dup2(descriptor, STDOUT_FILENO);
        execl("/usr/sbin/mosquitto", "mosquitto", "-c", settings, (char *)NULL);
        _exit(127);
    }
    for (int i = 0; i < 500 && !answers(); i++)
        usleep(10000);
    ck_assert(answers());
}

static void stop_broker(int signal_number) {
    kill(broker_pid, signal_number);
    waitpid(broker_pid, NULL, 0);
    broker_pid = 0;
}

static void begin(const char *more) {
    ck_assert_ptr_nonnull(mkdtemp(folder));
    port = free_port();
    write_settings(more);
    start_broker();
    intake_bench_set_up(&bench, port, 5);
}

static void end(void) {
    intake_bench_destroy(&bench);
    stop_broker(SIGKILL);
    shell("rm -r %s", folder);
}

/* Seldom, on a busy machine, mosquitto_pub misses that its last line was acknowledged and waits for
   ever. It is ended then: the tests look at what came. */
#define PUBLISH_LINES "timeout 20 mosquitto_pub -l -q 1"
#define OR_ENDED "; test $? -eq 0 -o $? -eq 124"

static void publish_numbers(int from, int to) {
    shell("seq %d %d | " PUBLISH_LINES
          " -h 127.0.0.1 -p %d -t subslab/birch-lane-12/suction" OR_ENDED,
          from, to, port);
}

static size_t wanted_messages;

static bool has_wanted(const struct intake_bench *one) {
    return one->messages >= wanted_messages;
}

static bool is_lost(const struct intake_bench *one) {
    return intake_state(one->intake) == INTAKE_DISCONNECTED;
}

static void check_each_seen(int from, int to, unsigned times) {
    for (int i = from; i <= to; i++)
        ck_assert_msg(bench.seen[i] == times, "%d was committed %d times", i, bench.seen[i]);
}

static const int protocols[] = {4, 5};

/* ---- nothing is lost ---- */

START_TEST(what_came_while_we_were_away_is_kept_through_an_abandoned_batch) {
    begin("allow_anonymous true");
    bench.settings.broker.protocol = protocols[_i];
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 10000));
    ck_assert(!bench.session_present);
    intake_stop(bench.intake);
    intake_bench_destroy(&bench);

    publish_numbers(1, 1000);
    intake_bench_create(&bench);
    size_t first = 0;
    for (int i = 0; i < 3000 && bench.uncommitted == 0; i++) { /* read, and never commit */
        intake_bench_read(&bench);
        first = bench.uncommitted;
        usleep(1000);
    }
    ck_assert_uint_gt(first, 0);
    intake_abandon(bench.intake, "readings could not be stored");
    memset(bench.waiting, 0, sizeof(bench.waiting));
    bench.uncommitted = bench.messages = 0;

    wanted_messages = 1000;
    ck_assert(intake_bench_run(&bench, has_wanted, 20000));
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 5000));
    intake_bench_run(&bench, NULL, 300);
    ck_assert(bench.session_present);
    check_each_seen(1, 1000, 1);
    ck_assert_uint_eq(bench.messages, 1000);
    end();
}
END_TEST

START_TEST(a_destroyed_intake_has_acknowledged_nothing) {
    begin("allow_anonymous true");
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 10000));
    publish_numbers(1, 100);
    for (int i = 0; i < 3000 && bench.uncommitted < 100; i++) {
        intake_bench_read(&bench);
        usleep(1000);
    }
    ck_assert_uint_eq(bench.uncommitted, 100);
    intake_bench_destroy(&bench); /* as a crash before the commit */
    memset(bench.waiting, 0, sizeof(bench.waiting));
    bench.uncommitted = bench.messages = 0;
    intake_bench_create(&bench);
    wanted_messages = 100;
    ck_assert(intake_bench_run(&bench, has_wanted, 10000));
    intake_bench_run(&bench, NULL, 300);
    check_each_seen(1, 100, 1);
    end();
}
END_TEST

static const int ways_to_stop[] = {SIGTERM, SIGKILL};

START_TEST(a_broker_restart_loses_nothing) {
    begin("allow_anonymous true");
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 10000));
    intake_bench_destroy(&bench);
    publish_numbers(1, 100);
    usleep(1500000); /* the broker saves each second at most; a kill loses what is younger */
    stop_broker(ways_to_stop[_i]);

    intake_bench_create(&bench);
    intake_bench_run(&bench, NULL, 300);
    ck_assert_ptr_nonnull(strstr(intake_why(bench.intake), "Connection refused"));
    start_broker();
    wanted_messages = 100;
    ck_assert(intake_bench_run(&bench, has_wanted, 20000));
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 5000));
    ck_assert(bench.session_present);
    check_each_seen(1, 100, 1);

    stop_broker(ways_to_stop[_i]); /* and while connected */
    ck_assert(intake_bench_run(&bench, is_lost, 5000));
    ck_assert_uint_eq(bench.disconnected, 1);
    start_broker();
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 20000));
    publish_numbers(101, 110);
    wanted_messages = 110;
    ck_assert(intake_bench_run(&bench, has_wanted, 5000));
    end();
}
END_TEST

START_TEST(a_forgotten_session_is_told) {
    begin("allow_anonymous true");
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 10000));
    stop_broker(SIGTERM);
    shell("rm -f %s/mosquitto.db", folder);
    ck_assert(intake_bench_run(&bench, is_lost, 5000));
    start_broker();
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 20000));
    ck_assert_uint_eq(bench.connected, 2);
    ck_assert(!bench.session_present);
    publish_numbers(1, 1); /* subscribed anew */
    wanted_messages = 1;
    ck_assert(intake_bench_run(&bench, has_wanted, 5000));
    end();
}
END_TEST

START_TEST(a_retained_reading_is_marked_only_when_replayed) {
    begin("allow_anonymous true");
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 10000));
    shell("mosquitto_pub -h 127.0.0.1 -p %d -q 1 -r -t subslab/a -m 5", port);
    wanted_messages = 1;
    ck_assert(intake_bench_run(&bench, has_wanted, 5000));
    ck_assert(!bench.retain);
    intake_stop(bench.intake);
    intake_bench_destroy(&bench);
    intake_bench_create(&bench);
    wanted_messages = 2;
    ck_assert(intake_bench_run(&bench, has_wanted, 5000));
    ck_assert(bench.retain);
    end();
}
END_TEST

/* ---- a dead connection ---- */

START_TEST(a_stopped_broker_is_noticed_within_one_and_a_half_keepalives) {
    begin("allow_anonymous true"); /* keepalive 5 s */
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 10000));
    ck_assert(!intake_bench_run(&bench, is_lost, 9000)); /* a quiet one is kept, by PINGREQ */
    ck_assert_uint_eq(bench.disconnected, 0);
    kill(broker_pid, SIGSTOP);
    int64_t before_ms = bench.clock_ms;
    ck_assert(intake_bench_run(&bench, is_lost, 12000));
    ck_assert_int_le(bench.clock_ms - before_ms, 7500 + 500);
    ck_assert_ptr_nonnull(strstr(bench.why, "no longer answers"));
    kill(broker_pid, SIGCONT);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 20000));
    end();
}
END_TEST

/* ---- who may come in ---- */

START_TEST(a_wrong_password_is_told_and_a_right_one_works) {
    begin("allow_anonymous true");
    stop_broker(SIGTERM);
    shell("mosquitto_passwd -b -c %s/passwords subslabd right-words 2>/dev/null", folder);
    char more[256];
    snprintf(more, sizeof(more), "allow_anonymous false\npassword_file %s/passwords", folder);
    write_settings(more);
    start_broker();
    bench.settings.broker.username = (char *)"subslabd";
    bench.settings.broker.protocol = protocols[_i];
    bench.password = "wrong-words";
    intake_bench_create(&bench);
    intake_bench_run(&bench, NULL, 500);
    ck_assert_int_eq(intake_state(bench.intake), INTAKE_DISCONNECTED);
    const char *why = intake_why(bench.intake);
    ck_assert_msg(strstr(why, "not authorised") || strstr(why, "bad user name"), "%s", why);
    ck_assert_ptr_null(strstr(bench.logged, "wrong-words"));
    intake_bench_destroy(&bench);
    bench.password = "right-words";
    intake_bench_create(&bench);
    ck_assert(intake_bench_run(&bench, intake_bench_is_connected, 5000));
    end();
}
END_TEST

/* ---- TLS ---- */

/** A certificate of `name` in the folder, signed by `ca`, valid from `from` to `to` (UTCTime). */
static void make_certificate(const char *ca, const char *name, const char *alternative,
                             const char *from, const char *to) {
    shell(
        "cd %s && printf 'subjectAltName=%s\\n' > x.ext && touch index.txt && "
        "openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN=%s -keyout "
        "%s.key -out %s.csr 2>/dev/null && "
        "printf '[ca]\\ndefault_ca=d\\n[d]\\ndatabase=index.txt\\nnew_certs_dir=.\\n"
        "rand_serial=yes\\ndefault_md=sha256\\npolicy=p\\nunique_subject=no\\n[p]\\n"
        "commonName=supplied\\n' > ca.conf && "
        "openssl ca -batch -config ca.conf -cert %s.pem -keyfile %s.key -in %s.csr -extfile x.ext "
        "-startdate %s -enddate %s -notext -out %s.pem 2>/dev/null",
        folder, alternative, name, name, name, ca, ca, name, from, to, name);
}

static void make_ca(const char *name) {
    shell(
        "cd %s && openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 3650 "
        "-subj /CN=%s -keyout %s.key -out %s.pem 2>/dev/null",
        folder, name, name, name);
}

static const struct {
    const char *host, *ca, *alternative, *from, *to;
    const char *why; /* NULL: connects */
} certificates[] = {
    {"localhost", "ca", "DNS:localhost", "200101000000Z", "490101000000Z", NULL},
    {"127.0.0.1", "ca", "IP:127.0.0.1", "200101000000Z", "490101000000Z", NULL},
    {"localhost", "ca", "DNS:other.example", "200101000000Z", "490101000000Z", "another name than"},
    {"127.0.0.1", "ca", "DNS:localhost", "200101000000Z", "490101000000Z", "another name than"},
    {"localhost", "ca", "DNS:localhost", "200101000000Z", "210101000000Z", "has expired"},
    {"localhost", "ca", "DNS:localhost", "480101000000Z", "490101000000Z", "not valid yet"},
    {"localhost", "stranger", "DNS:localhost", "200101000000Z", "490101000000Z", "/ca.pem"},
};

START_TEST(certificates_are_checked) {
    begin("allow_anonymous true");
    stop_broker(SIGTERM);
    make_ca("ca");
    make_ca("stranger");
    make_certificate(certificates[_i].ca, "server", certificates[_i].alternative,
                     certificates[_i].from, certificates[_i].to);
    char more[512], ca_file[128];
    snprintf(more, sizeof(more),
             "allow_anonymous true\ncertfile %s/server.pem\nkeyfile %s/server.key", folder, folder);
    write_settings(more);
    start_broker();
    snprintf(ca_file, sizeof(ca_file), "%s/ca.pem", folder);
    bench.settings.broker.tls = true;
    bench.settings.broker.ca_file = ca_file;
    bench.host.name = (char *)(uintptr_t)certificates[_i].host;
    intake_bench_create(&bench);
    if (certificates[_i].why) {
        intake_bench_run(&bench, NULL, 1000);
        const char *why = intake_why(bench.intake);
        ck_assert_int_eq(intake_state(bench.intake), INTAKE_DISCONNECTED);
        ck_assert_msg(strstr(why, certificates[_i].why) && strstr(why, "TLS"), "%s", why);
        ck_assert_uint_eq(bench.connected, 0);
        ck_assert_uint_eq(bench.log_lines, 1);
        ck_assert_int_ge(bench.next_ms - bench.clock_ms, 8000); /* no hurry */
    } else {
        ck_assert_msg(intake_bench_run(&bench, intake_bench_is_connected, 5000), "%s",
                      intake_why(bench.intake));
        shell("seq 1 500 | " PUBLISH_LINES " -h %s -p %d --cafile %s -t subslab/a" OR_ENDED,
              certificates[_i].host, port, ca_file);
        wanted_messages = 500;
        ck_assert(intake_bench_run(&bench, has_wanted, 10000));
        check_each_seen(1, 500, 1);
    }
    end();
}
END_TEST

START_TEST(our_own_certificate_lets_us_in) {
    begin("allow_anonymous true");
    stop_broker(SIGTERM);
    make_ca("ca");
    make_certificate("ca", "server", "IP:127.0.0.1", "200101000000Z", "490101000000Z");
    make_certificate("ca", "client", "DNS:subslabd", "200101000000Z", "490101000000Z");
    char more[512], files[3][128];
    snprintf(
        more, sizeof(more),
        "allow_anonymous true\ncertfile %s/server.pem\nkeyfile %s/server.key\ncafile %s/ca.pem\n"
        "require_certificate true",
        folder, folder, folder);
    write_settings(more);
    start_broker();
    snprintf(files[0], sizeof(files[0]), "%s/ca.pem", folder);
    snprintf(files[1], sizeof(files[1]), "%s/client.pem", folder);
    snprintf(files[2], sizeof(files[2]), "%s/client.key", folder);
    bench.settings.broker.tls = true;
    bench.settings.broker.ca_file = files[0];
    intake_bench_create(&bench); /* without one: refused, in one way or another by TLS version */
    intake_bench_run(&bench, NULL, 1500);
    ck_assert_uint_eq(bench.connected, 0);
    ck_assert_str_ne(intake_why(bench.intake), "");
    intake_bench_destroy(&bench);
    bench.settings.broker.certificate_file = files[1];
    bench.settings.broker.key_file = files[2];
    intake_bench_create(&bench);
    ck_assert_msg(intake_bench_run(&bench, intake_bench_is_connected, 5000), "%s",
                  intake_why(bench.intake));
    end();
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof((table)[0]))

int main(void) {
    TCase *broker = tcase_create("intake_broker");
    tcase_add_loop_test(broker, what_came_while_we_were_away_is_kept_through_an_abandoned_batch, 0,
                        2);
    tcase_add_test(broker, a_destroyed_intake_has_acknowledged_nothing);
    tcase_add_loop_test(broker, a_broker_restart_loses_nothing, 0, 2);
    tcase_add_test(broker, a_forgotten_session_is_told);
    tcase_add_test(broker, a_retained_reading_is_marked_only_when_replayed);
    tcase_add_test(broker, a_stopped_broker_is_noticed_within_one_and_a_half_keepalives);
    tcase_add_loop_test(broker, a_wrong_password_is_told_and_a_right_one_works, 0, 2);
    tcase_add_loop_test(broker, certificates_are_checked, 0, ROWS(certificates));
    tcase_add_test(broker, our_own_certificate_lets_us_in);
    return run_test_case(broker);
}
