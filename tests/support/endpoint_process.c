#include "endpoint_process.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static void run(const struct endpoint_process *endpoint, const struct endpoint_options *options,
                int input, int output) {
    const char *arguments[16] = {"python3",       options->program, "--script",
                                 options->script, "--log",          endpoint->log};
    size_t count = 6;
    if (options->certificate) {
        arguments[count++] = "--certificate";
        arguments[count++] = options->certificate;
        arguments[count++] = "--key";
        arguments[count++] = options->key;
    }
    if (options->tls_maximum) {
        arguments[count++] = "--tls-maximum";
        arguments[count++] = options->tls_maximum;
    }
    dup2(input, 0);
    dup2(output, 1);
    for (int i = 3; i < 256; i++) /* above all the writing end of its own input */
        close(i);
    execvp(arguments[0], (char *const *)(void *)arguments);
    _exit(127);
}

void endpoint_process_start(struct endpoint_process *endpoint,
                            const struct endpoint_options *options) {
    static int number;
    int input[2], output[2];
    snprintf(endpoint->log, sizeof endpoint->log, "/tmp/endpoint_%d_%d.jsonl", (int)getpid(),
             number++);
    ck_assert_int_eq(pipe(input), 0);
    ck_assert_int_eq(pipe(output), 0);
    endpoint->pid = fork();
    ck_assert_int_ge(endpoint->pid, 0);
    if (endpoint->pid == 0)
        run(endpoint, options, input[0], output[1]);
    close(input[0]);
    close(output[1]);
    endpoint->input = input[1];
    char line[64] = "";
    FILE *from = fdopen(output[0], "r");
    ck_assert_ptr_nonnull(from);
    ck_assert_ptr_nonnull(fgets(line, sizeof line, from));
    fclose(from);
    ck_assert_msg(strncmp(line, "PORT ", 5) == 0, "%s", line);
    endpoint->port = (int)strtol(line + 5, NULL, 10);
}

void endpoint_process_stop(struct endpoint_process *endpoint) {
    close(endpoint->input);
    waitpid(endpoint->pid, NULL, 0);
    unlink(endpoint->log);
}

json_t *endpoint_process_logged(const struct endpoint_process *endpoint, const char *path) {
    json_t *found = json_array();
    FILE *file = fopen(endpoint->log, "r");
    char *line = NULL;
    size_t size = 0;
    while (file && getline(&line, &size, file) > 0) {
        json_t *entry = json_loads(line, 0, NULL);
        const char *name = json_string_value(json_object_get(entry, "path"));
        if (name && strcmp(name, path) == 0)
            json_array_append(found, entry);
        json_decref(entry);
    }
    free(line);
    if (file)
        fclose(file);
    return found;
}
