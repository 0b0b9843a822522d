/*
 * subslabd: the daemon's options; the rest is service.c.
 */
#include "host/log.h"
#include "service/service.h"

#include <getopt.h>
#include <stdio.h>

static const char help[] =
    "subslabd " SUBSLAB_VERSION " - keeps watch over installed radon mitigation systems\n"
    "\n"
    "  subslabd [--settings FILE]\n"
    "\n"
    "  --settings FILE   settings (default /etc/subslabd/subslabd.yaml)\n"
    "  --help            this text\n"
    "  --version         the version\n"
    "\n"
    "Stays in the foreground and logs to standard error. SIGHUP reads the settings\n"
    "again, SIGTERM stops. Exit status: 0 stopped, 1 failed, 2 wrong use or settings.\n"
    "Ask it with subslabctl.\n";

int main(int argc, char **argv) {
    static const struct option options[] = {{"settings", required_argument, NULL, 's'},
                                            {"help", no_argument, NULL, 'h'},
                                            {"version", no_argument, NULL, 'v'},
                                            {NULL, 0, NULL, 0}};
    const char *settings_file = "/etc/subslabd/subslabd.yaml";
    for (int option; (option = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        switch (option) {
        case 's':
            settings_file = optarg;
            break;
        case 'h':
            fputs(help, stdout);
            return 0;
        case 'v':
            puts("subslabd " SUBSLAB_VERSION);
            return 0;
        default:
            log_line(LOG_LEVEL_ERROR, NULL, "see: subslabd --help");
            return 2;
        }
    }
    if (optind < argc) {
        log_line(LOG_LEVEL_ERROR, NULL, "subslabd: \"%s\" is not an option; see: subslabd --help",
                 argv[optind]);
        return 2;
    }
    return service_run(settings_file);
}
