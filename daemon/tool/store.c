/*
 * The store file itself, opened for reading beside a running daemon, or without one.
 */
#include "store/store.h"
#include "store/verify.h"
#include "tool/ctl.h"
#include "tool/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static struct store *open_store(struct ctl *ctl) {
    const struct store_options options = {.mode = STORE_READ_ONLY};
    char why[512] = "";
    struct store *store = NULL;
    if (!ctl_settings(ctl))
        return NULL;
    if (!ctl->settings) {
        ctl_error(ctl, CTL_WRONG_USE,
                  "%s can't be read, so the store is not known; run this as root, or name the "
                  "settings with --settings FILE",
                  ctl->settings_file);
        return NULL;
    }
    char *path = settings_path(ctl->settings, ctl->settings->store_file);
    if (!path || store_open(path, &options, &store, why, sizeof why) != STORE_OK) {
        ctl_error(ctl, CTL_FAILED, "%s", why);
        store = NULL;
    }
    free(path);
    return store;
}

static void show_check(void *context, double done) {
    (void)context;
    ctl_progress("checking", done);
}

static void show_copy(void *context, double done) {
    (void)context;
    ctl_progress("copying", done);
}

struct findings {
    size_t count;
};

static void print_finding(void *context, const char *text) {
    struct findings *findings = context;
    char *clean = ctl_text_clean(text);
    ctl_progress("", -1.0);
    printf("%s\n", clean ? clean : "");
    free(clean);
    findings->count++;
}

static enum ctl_status verify(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments arguments = {.options = NULL};
    struct findings findings = {0};
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    struct store *store = open_store(ctl);
    if (!store)
        return ctl->settings ? CTL_FAILED : CTL_WRONG_USE;
    enum store_status found = store_verify(store, print_finding, show_check, &findings);
    ctl_progress("", -1.0);
    enum ctl_status status = CTL_DONE;
    if (found == STORE_OK && findings.count == 0)
        printf("the store is sound\n");
    else
        status = ctl_error(ctl, CTL_FAILED,
                           "the store is not sound (%s); keep a copy of the file, then restore the "
                           "last backup",
                           findings.count ? "see above" : store_error(store));
    store_close(store);
    return status;
}

static enum ctl_status backup(struct ctl *ctl, int argc, char **argv) {
    struct ctl_arguments arguments = {.least = 1, .most = 1};
    char why[512] = "";
    struct stat about;
    if (!ctl_arguments(ctl, argc, argv, &arguments))
        return arguments.status;
    struct store *store = open_store(ctl);
    if (!store)
        return ctl->settings ? CTL_FAILED : CTL_WRONG_USE;
    const char *to = arguments.operands[0];
    enum store_status done = store_backup(store, to, show_copy, NULL, why, sizeof why);
    ctl_progress("", -1.0);
    store_close(store);
    if (done != STORE_OK)
        return ctl_error(ctl, CTL_FAILED, "%s", why);
    if (stat(to, &about) == 0)
        printf("%s: %lld bytes\n", to, (long long)about.st_size);
    return CTL_DONE;
}

const struct ctl_command ctl_store_commands[] = {
    {"verify", "", "checks the store: integrity, and hourly sums", "The daemon may run meanwhile.",
     verify},
    {"backup", "FILE", "copies the store while the daemon runs",
     "FILE must not exist yet. To restore, stop the daemon and put the copy in the store's place.",
     backup},
    {0},
};
