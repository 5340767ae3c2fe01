/* A disk and a clock that misbehave, for tests: preloaded into the service (LD_PRELOAD).

   The file named by FOLDMARK_SHIM holds three numbers, read anew at every call: milliseconds that each fsync takes, 1 to
   make fsync fail with EIO, and seconds by which the wall clock is off. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static void told(long *delay_ms, long *fail, long *off_s) {
  *delay_ms = *fail = *off_s = 0;
  const char *name = getenv("FOLDMARK_SHIM");
  FILE *file = name ? fopen(name, "r") : NULL;
  if (!file) return;
  if (fscanf(file, "%ld %ld %ld", delay_ms, fail, off_s) != 3) *delay_ms = *fail = *off_s = 0;
  fclose(file);
}

static int synced(const char *which, int handle) {
  long delay_ms, fail, off_s;
  told(&delay_ms, &fail, &off_s);
  if (delay_ms) {
    struct timespec wait = {delay_ms / 1000, delay_ms % 1000 * 1000000};
    nanosleep(&wait, NULL);
  }
  if (fail) {
    errno = EIO;
    return -1;
  }
  int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, which);
  return real(handle);
}

int fsync(int handle) { return synced("fsync", handle); }
int fdatasync(int handle) { return synced("fdatasync", handle); }

int clock_gettime(clockid_t which, struct timespec *now) {
  static int (*real)(clockid_t, struct timespec *);
  if (!real) real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
  int answer = real(which, now);
  if (answer == 0 && which == CLOCK_REALTIME) {
    long delay_ms, fail, off_s;
    told(&delay_ms, &fail, &off_s);
    now->tv_sec += off_s;
  }
  return answer;
}
