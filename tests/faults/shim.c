/* Stands between a process and the disk: fails, tears or ends it at the Nth write.
 *
 * Loaded by LD_PRELOAD. Counts pwrite, write, fsync, fdatasync and ftruncate on files whose
 * path begins with FAULT_PATH. `fault_arm(n, mode, error)` sets what happens at the Nth from
 * then on. A power cut takes back, newest first, every byte that no fsync has confirmed, as a
 * card may have lost them, and ends the process; torn keeps the first half of the write at
 * which it cuts and all before it, as a card may also have done.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { OFF, ONCE, FOR_GOOD, CUT, TORN };
enum { MOST_UNDO = 20000 };

typedef struct {
    int fd;
    off_t at, size;
    size_t length;
    char *old;
} undo_t;

static long calls, fault_at;
static int mode, fault_error;
static undo_t undone[MOST_UNDO];
static int undo_count;

static ssize_t (*real_pwrite)(int, const void *, size_t, off_t);
static ssize_t (*real_write)(int, const void *, size_t);
static int (*real_fsync)(int), (*real_fdatasync)(int), (*real_ftruncate)(int, off_t);

__attribute__((constructor)) static void begin(void) {
    real_pwrite = dlsym(RTLD_NEXT, "pwrite");
    real_write = dlsym(RTLD_NEXT, "write");
    real_fsync = dlsym(RTLD_NEXT, "fsync");
    real_fdatasync = dlsym(RTLD_NEXT, "fdatasync");
    real_ftruncate = dlsym(RTLD_NEXT, "ftruncate");
    const char *at = getenv("FAULT_AT"), *error = getenv("FAULT_ERROR");
    if (at) {
        fault_at = atol(at);
        mode = FOR_GOOD;
        fault_error = error ? atoi(error) : EIO;
    }
}

void fault_arm(long n, int new_mode, int error) {
    for (int i = 0; i < undo_count; i++) free(undone[i].old);
    undo_count = 0;
    calls = 0;
    fault_at = n;
    mode = new_mode;
    fault_error = error;
}

long fault_calls(void) { return calls; }

static int watched(int fd) {
    const char *prefix = getenv("FAULT_PATH");
    char link[64], path[4096];
    if (!prefix) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length <= 0) return 0;
    path[length] = 0;
    if (strlen(path) > 4 && !strcmp(path + strlen(path) - 4, "-shm")) return 0;
    /* Where FAULT_SWITCH names a file, faults happen while it is there. */
    const char *gate = getenv("FAULT_SWITCH");
    if (gate && access(gate, F_OK)) return 0;
    return !strncmp(path, prefix, strlen(prefix));
}

static void remember(int fd, off_t at, size_t length) {
    if ((mode != CUT && mode != TORN) || undo_count == MOST_UNDO) return;
    undo_t *one = &undone[undo_count++];
    one->fd = fd;
    one->at = at;
    one->size = lseek(fd, 0, SEEK_END);
    one->old = malloc(length ? length : 1);
    ssize_t got = pread(fd, one->old, length, at);
    one->length = got > 0 ? (size_t)got : 0;
}

static void confirmed(int fd) {
    int kept = 0;
    for (int i = 0; i < undo_count; i++) {
        if (undone[i].fd == fd) free(undone[i].old);
        else undone[kept++] = undone[i];
    }
    undo_count = kept;
}

static void power_cut(void) {
    for (int i = undo_count - 1; mode == CUT && i >= 0; i--) {
        undo_t *one = &undone[i];
        real_pwrite(one->fd, one->old, one->length, one->at);
        real_ftruncate(one->fd, one->size);
    }
    _exit(99);
}

/* 0: go on; -1: fail with errno set. A cut does not return, unless half a write comes first. */
static int due(int fd) {
    if (mode == OFF || !watched(fd)) return 0;
    calls++;
    int now = mode == FOR_GOOD ? calls >= fault_at : calls == fault_at;
    if (!now) return 0;
    if (mode == CUT) power_cut();
    if (mode == TORN) return 1;
    errno = fault_error;
    return -1;
}

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t at) {
    int what = due(fd);
    if (what < 0) return -1;
    if (what > 0) {
        real_pwrite(fd, bytes, length / 2, at);
        power_cut();
    }
    if (watched(fd)) remember(fd, at, length);
    return real_pwrite(fd, bytes, length, at);
}

ssize_t pwrite64(int fd, const void *bytes, size_t length, off_t at) {
    return pwrite(fd, bytes, length, at);
}

ssize_t write(int fd, const void *bytes, size_t length) {
    int what = due(fd);
    if (what < 0) return -1;
    if (what > 0) power_cut();
    return real_write(fd, bytes, length);
}

static int sync_with(int (*real)(int), int fd) {
    int what = due(fd);
    if (what < 0) return -1;
    if (what > 0) power_cut();
    int done = real(fd);
    if (done == 0) confirmed(fd);
    return done;
}

int fsync(int fd) { return sync_with(real_fsync, fd); }

int fdatasync(int fd) { return sync_with(real_fdatasync, fd); }

int ftruncate(int fd, off_t length) {
    int what = due(fd);
    if (what < 0) return -1;
    if (what > 0) power_cut();
    if (watched(fd)) {
        off_t size = lseek(fd, 0, SEEK_END);
        if (size > length) remember(fd, length, (size_t)(size - length));
        else remember(fd, size, 0);
    }
    return real_ftruncate(fd, length);
}

int ftruncate64(int fd, off_t length) { return ftruncate(fd, length); }
