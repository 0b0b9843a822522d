#include "host/fleet_files.h"

#include "host/file_source.h"
#include "link/service_manager.h"
#include "measure/array.h"
#include "words/text_buffer.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define ZONE_BYTES_MAX ((size_t)1 << 18)
#define SECRET_BYTES_MAX ((size_t)4096)
#define ZONE_FOLDER "/usr/share/zoneinfo"

/* ---- files ---- */

static char *read_all(int file, size_t most, size_t *length) {
    struct text_buffer all = {0};
    char piece[8192];
    ssize_t got;
    do {
        got = read(file, piece, sizeof piece);
        if (got > 0)
            text_buffer_add_bytes(&all, piece, (size_t)got);
    } while (all.length <= most && !all.failed && (got > 0 || (got < 0 && errno == EINTR)));
    *length = all.length;
    if (got >= 0 && all.length <= most)
        return text_buffer_take(&all);
    if (got >= 0)
        errno = EFBIG;
    text_buffer_clear(&all);
    return NULL;
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
    const char *told = getenv("TZDIR"); /* as tzset(3) */
    snprintf(path, sizeof path, "%s/%s", told && *told ? told : ZONE_FOLDER, name);
    char *bytes = fleet_files_read(path, ZONE_BYTES_MAX, &length);
    struct time_zone *zone = bytes ? time_zone_create(name, bytes, length) : NULL;
    free(bytes);
    return zone;
}

void fleet_files_check_zone(const struct system_description *system,
                            struct settings_errors *errors) {
    struct time_zone *zone = fleet_files_zone(system->time_zone);
    if (!zone)
        system_description_zone_unknown(system, errors);
    time_zone_destroy(zone);
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

static int by_name(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

bool fleet_files_is_system(const char *name) {
    const char *dot = strrchr(name, '.');
    return name[0] != '.' && dot && (strcmp(dot, ".yaml") == 0 || strcmp(dot, ".yml") == 0);
}

/* `key` and `line` name the setting of the folder, `allowed` completes its error. */
static bool list_folder(const struct settings *settings, const char *key, int line,
                        const char *name, const char *allowed, struct names *names,
                        struct settings_errors *errors) {
    char *folder = settings_path(settings, name);
    DIR *directory = folder ? opendir(folder) : NULL;
    if (!directory) {
        settings_errors_add(errors, "%s:%d: %s: cannot read the folder %s: %s; allowed: %s",
                            settings->file, line, key, folder ? folder : "", strerror(errno),
                            allowed);
        free(folder);
        return false;
    }
    bool good = true;
    size_t first = names->count;
    for (struct dirent *entry; good && (entry = readdir(directory));) {
        char *path = NULL;
        if (fleet_files_is_system(entry->d_name))
            good = asprintf(&path, "%s%s%s", folder, folder[strlen(folder) - 1] == '/' ? "" : "/",
                            entry->d_name) >= 0 &&
                   names_add(names, path);
    }
    closedir(directory);
    free(folder);
    if (names->count > first)
        qsort(names->items + first, names->count - first, sizeof(char *), by_name);
    return good;
}

/* Enrolled systems may lie among the others: then they are read once. */
static bool is_folder_of_systems(const struct settings *settings, const struct stat *about) {
    char *folder =
        settings->systems_folder ? settings_path(settings, settings->systems_folder) : NULL;
    struct stat systems;
    bool same = folder && stat(folder, &systems) == 0 && systems.st_dev == about->st_dev &&
                systems.st_ino == about->st_ino;
    free(folder);
    return same;
}

/* The folder is made with the first system that is enrolled. */
static bool list_enrolled(const struct settings *settings, struct names *names,
                          struct settings_errors *errors) {
    const struct settings_folder *enrolled = &settings->enrolled;
    char *folder = enrolled->name ? settings_path(settings, enrolled->name) : NULL;
    struct stat about;
    if (enrolled->name && !folder)
        return false;
    bool there = folder && (stat(folder, &about) == 0 || errno != ENOENT);
    bool again = there && is_folder_of_systems(settings, &about);
    free(folder);
    return !there || again ||
           list_folder(settings, "enrolled_systems", enrolled->line, enrolled->name,
                       "a folder of system files", names, errors);
}

static bool list_systems(const struct settings *settings, struct names *names,
                         struct settings_errors *errors) {
    if (settings->systems_folder)
        return list_folder(settings, "systems", settings->systems_line, settings->systems_folder,
                           "a folder of system files, or a list of files", names, errors);
    for (size_t i = 0; i < settings->system_file_count; i++) {
        if (!names_add(names, settings_path(settings, settings->system_files[i])))
            return false;
    }
    return true;
}

/* ---- all together ---- */

static bool resolve(struct settings *settings, char **name) {
    if (!*name)
        return true;
    char *path = settings_path(settings, *name);
    *name = path ? arena_copy(&settings->memory, path) : NULL;
    free(path);
    return *name != NULL;
}

/* File names stand relative to the folder of the settings; from here on they are paths. */
static bool resolve_names(struct settings *settings) {
    struct settings_broker *broker = &settings->broker;
    bool good = resolve(settings, &broker->password_file) && resolve(settings, &broker->ca_file) &&
                resolve(settings, &broker->certificate_file) &&
                resolve(settings, &broker->key_file) && resolve(settings, &settings->store_file) &&
                resolve(settings, &settings->operator_socket) &&
                resolve(settings, &settings->page.access_file);
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
    char *text = fleet_files_read(file, FLEET_FILES_BYTES_MAX, &length);
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

static void load_fan(struct settings *settings, const char *file, struct settings_errors *errors) {
    size_t length = 0;
    char *text = fleet_files_read(file, FLEET_FILES_BYTES_MAX, &length);
    if (!text)
        settings_errors_add(errors, "%s:1: fan model: %s; allowed: a file that can be read", file,
                            strerror(errno));
    struct fan_model *model = text ? fan_model_parse(file, text, length, errors) : NULL;
    if (model)
        settings->fans.models[settings->fans.count++] = model;
    free(text);
}

void fleet_files_load_fans(struct settings *settings, struct settings_errors *errors) {
    struct names names = {0};
    if (!settings->fans.folder ||
        !list_folder(settings, "fans", settings->fans.line, settings->fans.folder,
                     "a folder of fan models", &names, errors))
        return;
    settings->fans.models = calloc(names.count + 1, sizeof(struct fan_model *));
    for (size_t i = 0; settings->fans.models && i < names.count; i++)
        load_fan(settings, names.items[i], errors);
    fan_models_sort(&settings->fans, errors);
    array_free_texts(names.items, names.count);
}

/* Of the settings file and the fan models that it names; `settings_file` was asked before it was
   read. */
static uint64_t source_of(uint64_t settings_file, const struct settings *settings) {
    struct settings_errors ignored = {0};
    struct names names = {0};
    uint64_t source = settings_file;
    if (settings->fans.folder &&
        !list_folder(settings, "fans", 0, settings->fans.folder, "", &names, &ignored))
        source = 0;
    for (size_t i = 0; i < names.count; i++)
        source = file_source_join(source, file_source(names.items[i]));
    array_free_texts(names.items, names.count);
    settings_errors_free(&ignored);
    return source;
}

/* Those of the former fleet when no file of theirs has changed. */
static struct settings *settings_of(const char *file, const struct fleet *former,
                                    struct settings_errors *errors) {
    uint64_t own = file_source(file);
    if (former && own && source_of(own, former->settings) == former->settings->source)
        return settings_share(former->settings);
    struct settings *settings = load_settings(file, errors);
    if (settings) {
        settings->source = source_of(own, settings);
        fleet_files_load_fans(settings, errors);
    }
    return settings;
}

static struct system_description *load_system(const char *file, const struct settings *settings,
                                              struct settings_errors *errors) {
    size_t length = 0;
    uint64_t source = file_source(file);
    char *text = fleet_files_read(file, FLEET_FILES_BYTES_MAX, &length);
    if (!text) {
        settings_errors_add(errors, "%s:1: system file: %s; allowed: a file that can be read", file,
                            strerror(errno));
        return NULL;
    }
    struct system_description *system =
        system_description_parse(file, text, length, settings, errors);
    free(text);
    if (system)
        system->source = source;
    return system;
}

/* ---- what the former fleet has read ---- */

struct read_before {
    struct system_description **systems; /* by file; NULL: nothing can be shared */
    size_t count;
};

static int by_file(const void *a, const void *b) {
    return strcmp((*(struct system_description *const *)a)->file,
                  (*(struct system_description *const *)b)->file);
}

static struct read_before read_before(const struct fleet *former, const struct settings *settings) {
    struct read_before before = {0};
    if (!former || former->settings != settings || former->system_count == 0)
        return before;
    size_t size = former->system_count * sizeof(struct system_description *);
    before.systems = malloc(size);
    if (before.systems) {
        before.count = former->system_count;
        memcpy(before.systems, former->descriptions, size);
        qsort(before.systems, before.count, sizeof(struct system_description *), by_file);
    }
    return before;
}

static struct system_description *system_of(char *file, const struct read_before *before,
                                            const struct settings *settings,
                                            struct settings_errors *errors) {
    struct system_description key = {.file = file}, *wanted = &key;
    struct system_description **found = before->count
                                            ? bsearch(&wanted, before->systems, before->count,
                                                      sizeof(struct system_description *), by_file)
                                            : NULL;
    if (found && (*found)->source && (*found)->source == file_source(file))
        return system_description_share(*found);
    return load_system(file, settings, errors);
}

static struct fleet *load_systems(struct settings *settings, const struct names *names,
                                  const struct fleet *former, struct settings_errors *errors) {
    struct system_description **systems =
        calloc(names->count + 1, sizeof(struct system_description *));
    struct read_before before = read_before(former, settings);
    struct fleet *fleet = NULL;
    size_t count = 0;
    for (size_t i = 0; systems && i < names->count; i++) {
        systems[count] = system_of(names->items[i], &before, settings, errors);
        count += systems[count] != NULL;
    }
    free(before.systems);
    if (systems && errors->count == 0)
        system_descriptions_check(systems, count, settings, errors);
    if (systems && errors->count == 0)
        fleet = fleet_create(settings, systems, count, zone_from_disk, NULL, errors);
    for (size_t i = 0; !fleet && i < count; i++)
        system_description_free(systems[i]);
    if (!fleet)
        free(systems);
    return fleet;
}

struct fleet *fleet_files_load(const char *settings_file, const struct fleet *former,
                               struct settings_errors *errors) {
    struct settings *settings = settings_of(settings_file, former, errors);
    struct names names = {0};
    struct fleet *fleet = NULL;
    if (settings && list_systems(settings, &names, errors) &&
        list_enrolled(settings, &names, errors))
        fleet = load_systems(settings, &names, former, errors);
    array_free_texts(names.items, names.count);
    if (fleet)
        return fleet;
    if (errors->count == 0)
        settings_errors_add(errors, "%s:1: settings: out of memory", settings_file);
    settings_free(settings);
    return NULL;
}
