#include "host/fleet_files.h"

#include "link/service_manager.h"
#include "measure/array.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SETTINGS_BYTES_MAX ((size_t)1 << 20)
#define ZONE_BYTES_MAX ((size_t)1 << 18)
#define SECRET_BYTES_MAX ((size_t)4096)
#define ZONE_FOLDER "/usr/share/zoneinfo"

/* ---- files ---- */

static char *read_all(int file, size_t most, size_t *length) {
    size_t capacity = 8192, used = 0;
    char *bytes = malloc(capacity + 1);
    while (bytes) {
        ssize_t got = read(file, bytes + used, capacity - used);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0) {
            if (got == 0)
                break;
            free(bytes);
            return NULL;
        }
        used += (size_t)got;
        if (used > most) {
            free(bytes);
            errno = EFBIG;
            return NULL;
        }
        if (used == capacity) {
            char *grown = realloc(bytes, capacity * 2 + 1);
            if (!grown)
                free(bytes);
            bytes = grown;
            capacity *= 2;
        }
    }
    if (!bytes)
        return NULL;
    bytes[used] = '\0';
    *length = used;
    return bytes;
}

char *fleet_files_read(const char *path, size_t most, size_t *length) {
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return NULL;
    struct stat about;
    char *bytes = NULL;
    if (fstat(file, &about) == 0 && S_ISDIR(about.st_mode))
        errno = EISDIR;
    else
        bytes = read_all(file, most, length);
    int reason = errno;
    close(file);
    errno = reason;
    return bytes;
}

static char *secret_line(const char *path, char *why, size_t why_size) {
    size_t length = 0;
    char *text = fleet_files_read(path, SECRET_BYTES_MAX, &length);
    if (!text) {
        snprintf(why, why_size, "%s: %s", path, strerror(errno));
        return NULL;
    }
    text[strcspn(text, "\r\n")] = '\0';
    if (*text)
        return text;
    snprintf(why, why_size, "%s: is empty; the secret belongs on its first line", path);
    free(text);
    return NULL;
}

char *fleet_files_secret(const char *path, char *why, size_t why_size) {
    const char *name = strrchr(path, '/');
    char *credential = service_manager_credential(name ? name + 1 : path);
    struct stat about;
    char *secret = NULL;
    if (credential) {
        secret = secret_line(credential, why, why_size);
    } else if (stat(path, &about) != 0) {
        snprintf(why, why_size, "%s: %s", path, strerror(errno));
    } else if (about.st_mode & S_IRWXO) {
        snprintf(why, why_size,
                 "%s: everybody on this machine may read this secret; run: chmod o-rwx '%s'", path,
                 path);
    } else {
        secret = secret_line(path, why, why_size);
    }
    free(credential);
    return secret;
}

struct time_zone *fleet_files_zone(const char *name) {
    char path[PATH_MAX];
    size_t length = 0;
    if (strcmp(name, "UTC") == 0)
        return time_zone_create_utc();
    if (strstr(name, "..") || name[0] == '/')
        return NULL;
    snprintf(path, sizeof path, "%s/%s", ZONE_FOLDER, name);
    char *bytes = fleet_files_read(path, ZONE_BYTES_MAX, &length);
    struct time_zone *zone = bytes ? time_zone_create(name, bytes, length) : NULL;
    free(bytes);
    return zone;
}

static struct time_zone *zone_from_disk(void *context, const char *name) {
    (void)context;
    return fleet_files_zone(name);
}

/* ---- the list of system files ---- */

struct names {
    char **items;
    size_t count;
};

static bool names_add(struct names *names, char *name) {
    if (!name)
        return false;
    char **items = array_room(names->items, names->count, sizeof(char *));
    if (!items) {
        free(name);
        return false;
    }
    names->items = items;
    items[names->count++] = name;
    return true;
}

static void names_clear(struct names *names) {
    for (size_t i = 0; i < names->count; i++)
        free(names->items[i]);
    free(names->items);
}

static int by_name(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool is_system_file(const char *name) {
    const char *dot = strrchr(name, '.');
    return name[0] != '.' && dot && (strcmp(dot, ".yaml") == 0 || strcmp(dot, ".yml") == 0);
}

static bool list_folder(const struct settings *settings, struct names *names,
                        struct settings_errors *errors) {
    char *folder = settings_path(settings, settings->systems_folder);
    DIR *directory = folder ? opendir(folder) : NULL;
    if (!directory) {
        settings_errors_add(errors,
                            "%s:%d: systems: cannot read the folder %s: %s; allowed: a "
                            "folder of system files, or a list of files",
                            settings->file, settings->systems_line, folder ? folder : "",
                            strerror(errno));
        free(folder);
        return false;
    }
    bool good = true;
    for (struct dirent *entry; good && (entry = readdir(directory));) {
        char *path = NULL;
        if (is_system_file(entry->d_name))
            good = asprintf(&path, "%s%s%s", folder, folder[strlen(folder) - 1] == '/' ? "" : "/",
                            entry->d_name) >= 0 &&
                   names_add(names, path);
    }
    closedir(directory);
    free(folder);
    if (names->count)
        qsort(names->items, names->count, sizeof(char *), by_name);
    return good;
}

static bool list_systems(const struct settings *settings, struct names *names,
                         struct settings_errors *errors) {
    if (settings->systems_folder)
        return list_folder(settings, names, errors);
    for (size_t i = 0; i < settings->system_file_count; i++) {
        if (!names_add(names, settings_path(settings, settings->system_files[i])))
            return false;
    }
    return true;
}

/* ---- all together ---- */

static bool resolve(const struct settings *settings, char **name) {
    if (!*name)
        return true;
    char *path = settings_path(settings, *name);
    if (!path)
        return false;
    free(*name);
    *name = path;
    return true;
}

/* File names stand relative to the folder of the settings; from here on they are paths. */
static bool resolve_names(struct settings *settings) {
    struct settings_broker *broker = &settings->broker;
    bool good = resolve(settings, &broker->password_file) && resolve(settings, &broker->ca_file) &&
                resolve(settings, &broker->certificate_file) &&
                resolve(settings, &broker->key_file) && resolve(settings, &settings->store_file) &&
                resolve(settings, &settings->operator_socket) &&
                resolve(settings, &settings->page_access_file);
    for (size_t i = 0; i < settings->contact_count && good; i++) {
        struct settings_contact *contact = &settings->contacts[i];
        good = resolve(settings, &contact->signing_secret_file) &&
               resolve(settings, &contact->tls_ca_file);
        for (size_t h = 0; h < contact->header_count && good; h++)
            good = resolve(settings, &contact->headers[h].value_file);
    }
    return good;
}

static struct settings *load_settings(const char *file, struct settings_errors *errors) {
    size_t length = 0;
    char *text = fleet_files_read(file, SETTINGS_BYTES_MAX, &length);
    if (!text) {
        settings_errors_add(errors, "%s:1: settings: %s; name another file with --settings FILE",
                            file, strerror(errno));
        return NULL;
    }
    struct settings *settings = settings_parse(file, text, length, errors);
    free(text);
    if (settings && !resolve_names(settings)) {
        settings_errors_add(errors, "%s:1: settings: out of memory", file);
        settings_free(settings);
        settings = NULL;
    }
    return settings;
}

static struct system_description *load_system(const char *file, const struct settings *settings,
                                              struct settings_errors *errors) {
    size_t length = 0;
    char *text = fleet_files_read(file, SETTINGS_BYTES_MAX, &length);
    if (!text) {
        settings_errors_add(errors, "%s:1: system file: %s; allowed: a file that can be read", file,
                            strerror(errno));
        return NULL;
    }
    struct system_description *system =
        system_description_parse(file, text, length, settings, errors);
    free(text);
    return system;
}

struct fleet *fleet_files_load(const char *settings_file, struct settings_errors *errors) {
    struct settings *settings = load_settings(settings_file, errors);
    struct names names = {0};
    struct system_description **systems = NULL;
    struct fleet *fleet = NULL;
    size_t count = 0;
    if (!settings || !list_systems(settings, &names, errors))
        goto done;
    systems = calloc(names.count + 1, sizeof(struct system_description *));
    for (size_t i = 0; systems && i < names.count; i++) {
        systems[count] = load_system(names.items[i], settings, errors);
        count += systems[count] != NULL;
    }
    if (systems && errors->count == 0)
        system_descriptions_check(systems, count, settings, errors);
    if (systems && errors->count == 0)
        fleet = fleet_create(settings, systems, count, zone_from_disk, NULL, errors);
done:
    names_clear(&names);
    if (fleet)
        return fleet;
    if (errors->count == 0)
        settings_errors_add(errors, "%s:1: settings: out of memory", settings_file);
    for (size_t i = 0; i < count; i++)
        system_description_free(systems[i]);
    free(systems);
    settings_free(settings);
    return NULL;
}
