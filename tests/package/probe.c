/*
 * probe NAME: tries one thing that a line of the unit forbids. Exit status 0: it could; 10: it was
 * refused; 77: it cannot be tried on this machine; 2: wrong use. Nothing that it tries does harm
 * where it is allowed: what would is called with values that the kernel refuses later for another
 * reason (EINVAL, EFAULT), or with those in force already.
 *
 * Built and run by booted.py, as root without any line of the unit, with one, and with all.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <linux/capability.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ipc.h>
#include <sys/mman.h>
#include <sys/mount.h>
#include <sys/personality.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/shm.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/sysmacros.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { COULD = 0, REFUSED = 10, NOT_HERE = 77 };

static const key_t shared_key = 0x5ab51ab;
static const int other_account = 4242;

static int could(int worked) {
    return worked ? COULD : REFUSED;
}

/* Whether a call got past whoever watches: it failed for what it was given, or worked. */
static int got_past(long result) {
    if (result == 0 || errno == EINVAL || errno == EFAULT || errno == ENOENT || errno == ENOEXEC)
        return COULD;
    return errno == ENOSYS ? NOT_HERE : REFUSED;
}

static int can_open(const char *path, int flags) {
    int file = open(path, flags | O_CLOEXEC, 0600);
    if (file >= 0)
        close(file);
    return could(file >= 0);
}

static int make_file(const char *path) {
    int result = can_open(path, O_WRONLY | O_CREAT | O_EXCL);
    unlink(path);
    return result;
}

/* ---- accounts and capabilities ---- */

static int gain_privileges(void) {
    return could(prctl(PR_GET_NO_NEW_PRIVS, 0, 0, 0, 0) == 0);
}

static int keep_capabilities(void) {
    return could(prctl(PR_CAPBSET_READ, CAP_SYS_ADMIN, 0, 0, 0) == 1);
}

static int become_another(void) {
    return could(setgid((gid_t)other_account) == 0 && setuid((uid_t)other_account) == 0);
}

static int set_suid_bit(void) {
    char path[] = "/tmp/probe-XXXXXX";
    int file = mkstemp(path);
    int result = could(file >= 0 && fchmod(file, 04700) == 0);
    unlink(path);
    return result;
}

/* ---- files; booted.py has put the marks there ---- */

static int write_srv(void) {
    return make_file("/srv/subslabd-probe");
}

static int see_homes(void) {
    int home = open("/home", O_PATH | O_DIRECTORY | O_CLOEXEC);
    return could(home >= 0 && faccessat(home, "mark", F_OK, 0) == 0);
}

static int see_tmp(void) {
    return could(access("/tmp/mark", F_OK) == 0);
}

static int see_modules(void) {
    return could(access("/usr/lib/modules/mark", F_OK) == 0);
}

static int see_device(void) {
    return could(access("/dev/mark", F_OK) == 0);
}

/* A device of its own making: the kernel's log, which is open to root. */
static int open_device(void) {
    const char *path = "/tmp/probe-device";
    unlink(path);
    if (mknod(path, S_IFCHR | 0600, makedev(1, 11)) != 0)
        return REFUSED;
    int result = can_open(path, O_RDONLY | O_NONBLOCK);
    unlink(path);
    return result;
}

static int share_mounts(void) {
    struct stat own, first;
    return could(stat("/proc/self/ns/mnt", &own) == 0 && stat("/proc/1/ns/mnt", &first) == 0 &&
                 own.st_ino == first.st_ino);
}

static int see_process_1(void) {
    return could(access("/proc/1/status", F_OK) == 0);
}

static int see_uptime(void) {
    return could(access("/proc/uptime", F_OK) == 0);
}

static int write_tunable(void) {
    return can_open("/proc/sys/net/ipv4/ip_forward", O_WRONLY);
}

static int make_control_group(void) {
    const char *all = "/sys/fs/cgroup/subslabd-probe",
               *tree = "/sys/fs/cgroup/systemd/subslabd-probe";
    int result = could(mkdir(tree, 0755) == 0 || mkdir(all, 0755) == 0);
    rmdir(tree);
    rmdir(all);
    return result;
}

/* ---- memory shared by name ---- */

static int make_shared_memory(void) {
    return could(shmget(shared_key, 4096, IPC_CREAT | 0666) >= 0);
}

static int see_shared_memory(void) {
    return could(shmget(shared_key, 0, 0) >= 0);
}

/* ---- the kernel ---- */

static int set_clock(void) {
    const struct timespec never = {.tv_nsec = -1};
    /* Not by the C library, which looks at the time first. */
    return got_past(syscall(SYS_clock_settime, CLOCK_REALTIME, &never));
}

static int set_host_name(void) {
    char name[256] = "";
    return could(gethostname(name, sizeof name - 1) == 0 && sethostname(name, strlen(name)) == 0);
}

static int read_kernel_log(void) {
    enum { SIZE_OF_BUFFER = 10 };
    return could(syscall(SYS_syslog, SIZE_OF_BUFFER, NULL, 0) >= 0);
}

static int call_mount(void) {
    return got_past(mount(NULL, "/nowhere", NULL, MS_BIND, NULL));
}

static int call_setpriority(void) {
    return could(setpriority(PRIO_PROCESS, 0, 1) == 0);
}

static int change_personality(void) {
    return could(personality(PER_LINUX32) != -1);
}

static int write_and_execute(void) {
    void *page =
        mmap(NULL, 4096, PROT_READ | PROT_WRITE | PROT_EXEC, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    return could(page != MAP_FAILED);
}

static int make_namespace(void) {
    return could(unshare(CLONE_NEWUTS) == 0);
}

static int run_in_real_time(void) {
    const struct sched_param parameters = {.sched_priority = 1};
    return could(sched_setscheduler(0, SCHED_FIFO, &parameters) == 0);
}

static int open_packet_socket(void) {
    return could(socket(AF_PACKET, SOCK_RAW, 0) >= 0);
}

/* getpid by the door of 32-bit programs; in a child, for where it ends the process. */
static int call_as_32_bit(void) {
#ifdef __x86_64__
    pid_t child = fork();
    if (child == 0) {
        long number = 20;
        __asm__ volatile("int $0x80" : "+a"(number) : : "memory", "r8", "r9", "r10", "r11");
        _exit(number == getpid() ? COULD : REFUSED);
    }
    int status = 0;
    waitpid(child, &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : REFUSED;
#else
    return NOT_HERE;
#endif
}

/* ---- limits ---- */

static int take_memory(void) {
    const size_t piece = (size_t)16 << 20;
    for (int i = 0; i < 72; i++) { /* 1152 MiB */
        char *memory = malloc(piece);
        if (!memory)
            return REFUSED;
        for (size_t at = 0; at < piece; at += 4096)
            *(volatile char *)(memory + at) = 1;
    }
    return COULD;
}

static int start_processes(void) {
    int started = 0;
    for (; started < 80; started++) {
        pid_t child = fork();
        if (child < 0)
            break;
        if (child == 0) {
            sleep(5);
            _exit(0);
        }
    }
    return could(started == 80);
}

static const struct {
    const char *name;
    int (*attempt)(void);
} probes[] = {
    {"gain-privileges", gain_privileges},
    {"keep-capabilities", keep_capabilities},
    {"become-another", become_another},
    {"set-suid-bit", set_suid_bit},
    {"write-srv", write_srv},
    {"see-homes", see_homes},
    {"see-tmp", see_tmp},
    {"see-modules", see_modules},
    {"see-device", see_device},
    {"open-device", open_device},
    {"share-mounts", share_mounts},
    {"see-process-1", see_process_1},
    {"see-uptime", see_uptime},
    {"write-tunable", write_tunable},
    {"make-control-group", make_control_group},
    {"make-shared-memory", make_shared_memory},
    {"see-shared-memory", see_shared_memory},
    {"set-clock", set_clock},
    {"set-host-name", set_host_name},
    {"read-kernel-log", read_kernel_log},
    {"call-mount", call_mount},
    {"call-setpriority", call_setpriority},
    {"change-personality", change_personality},
    {"write-and-execute", write_and_execute},
    {"make-namespace", make_namespace},
    {"run-in-real-time", run_in_real_time},
    {"open-packet-socket", open_packet_socket},
    {"call-as-32-bit", call_as_32_bit},
    {"take-memory", take_memory},
    {"start-processes", start_processes},
};

int main(int argc, char **argv) {
    for (size_t i = 0; argc == 2 && i < sizeof probes / sizeof probes[0]; i++) {
        if (strcmp(argv[1], probes[i].name) == 0) {
            errno = 0;
            int result = probes[i].attempt();
            printf("%s: %s\n", argv[1], result == COULD ? "could" : strerror(errno));
            return result;
        }
    }
    return 2;
}
