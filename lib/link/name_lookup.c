/*
 * The thread owns its job and its end of the socket pair and never touches the caller's memory, so
 * a lookup that was given up may end whenever the resolver lets it. Threads that hang are counted:
 * with a dead name server each try would otherwise leave one more behind.
 */
#include "link/name_lookup.h"

#include <arpa/inet.h>
#include <assert.h>
#include <errno.h>
#include <netdb.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define LOOKUPS_UNDER_WAY_MAX 4

static atomic_int under_way;

struct job {
    char *host;
    int descriptor;
};

bool name_lookup_is_address(const char *host) {
    struct in6_addr address;
    char plain[NAME_LOOKUP_ADDRESS_BYTES];
    size_t length = strcspn(host, "%"); /* fe80::1%eth0 */
    if (length >= sizeof(plain))
        return false;
    memcpy(plain, host, length);
    plain[length] = '\0';
    return inet_pton(AF_INET, host, &address) == 1 || inet_pton(AF_INET6, plain, &address) == 1;
}

static void add_address(struct name_lookup_answer *answer, const struct addrinfo *info) {
    if (answer->count < NAME_LOOKUP_ADDRESSES_MAX &&
        getnameinfo(info->ai_addr, info->ai_addrlen, answer->address[answer->count],
                    NAME_LOOKUP_ADDRESS_BYTES, NULL, 0, NI_NUMERICHOST) == 0)
        answer->count++;
}

static void look_up(const char *host, struct name_lookup_answer *answer) {
    const struct addrinfo hints = {.ai_family = AF_UNSPEC, .ai_socktype = SOCK_STREAM};
    struct addrinfo *list = NULL;
    int error = getaddrinfo(host, NULL, &hints, &list);
    if (error) {
        snprintf(answer->why, sizeof(answer->why), "%s", gai_strerror(error));
        return;
    }
    for (const struct addrinfo *info = list; info; info = info->ai_next)
        add_address(answer, info);
    freeaddrinfo(list);
    if (answer->count == 0)
        snprintf(answer->why, sizeof(answer->why), "the name has no usable address");
}

static void job_end(struct job *job) {
    close(job->descriptor);
    free(job->host);
    free(job);
    atomic_fetch_sub(&under_way, 1);
}

static void *job_run(void *argument) {
    struct job *job = argument;
    struct name_lookup_answer answer = {0};
    look_up(job->host, &answer);
    /* Fits the socket's buffer; when the caller has given up, nobody is there to hear it. */
    (void)!send(job->descriptor, &answer, sizeof(answer), MSG_NOSIGNAL);
    job_end(job);
    return NULL;
}

/** The daemon's signals belong to its loop, so the thread takes none. */
static bool start_thread(struct job *job) {
    pthread_t thread;
    pthread_attr_t attributes;
    sigset_t all, before;
    if (pthread_attr_init(&attributes))
        return false;
    pthread_attr_setdetachstate(&attributes, PTHREAD_CREATE_DETACHED);
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    int error = pthread_create(&thread, &attributes, job_run, job);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    pthread_attr_destroy(&attributes);
    return error == 0;
}

int name_lookup_start(const char *host) {
    int pair[2];
    if (atomic_fetch_add(&under_way, 1) >= LOOKUPS_UNDER_WAY_MAX ||
        socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, pair)) {
        atomic_fetch_sub(&under_way, 1);
        return -1;
    }
    struct job *job = calloc(1, sizeof(*job));
    if (job) {
        job->descriptor = pair[1];
        job->host = strdup(host);
        if (job->host && start_thread(job))
            return pair[0];
        job_end(job);
    } else {
        close(pair[1]);
        atomic_fetch_sub(&under_way, 1);
    }
    close(pair[0]);
    return -1;
}

bool name_lookup_take(int descriptor, struct name_lookup_answer *answer) {
    struct name_lookup_answer got;
    ssize_t length = recv(descriptor, &got, sizeof(got), MSG_DONTWAIT);
    if (length < 0 && (errno == EAGAIN || errno == EINTR))
        return false;
    if (length != (ssize_t)sizeof(got)) {
        got = (struct name_lookup_answer){0};
        snprintf(got.why, sizeof(got.why), "the lookup broke off");
    }
    *answer = got;
    return true;
}
