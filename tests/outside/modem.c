/* Preloaded into sigrok-cli, so that a pseudo-terminal passes for a serial port.
 *
 * The library below it looks a port up in /sys/class/tty, where there is no
 * pseudo-terminal, and asks for modem lines, which one does not have. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdarg.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

static const char NODE[] = "/sys/class/tty/pts/";
static const char TARGET[] = "../../devices/virtual/tty/pts";

#define NEXT(type, name) ((type)dlsym(RTLD_NEXT, name))

static int is_pseudo_terminal(const char *path)
{
    return strncmp(path, NODE, sizeof NODE - 1) == 0;
}

static int like_a_link(struct stat *status)
{
    memset(status, 0, sizeof *status);
    status->st_mode = S_IFLNK | 0777;
    return 0;
}

/* What lstat was called before glibc 2.33. */
int __lxstat(int version, const char *path, struct stat *status)
{
    if (is_pseudo_terminal(path))
        return like_a_link(status);
    return NEXT(int (*)(int, const char *, struct stat *), "__lxstat")(version, path, status);
}

int lstat(const char *path, struct stat *status)
{
    if (is_pseudo_terminal(path))
        return like_a_link(status);
    return NEXT(int (*)(const char *, struct stat *), "lstat")(path, status);
}

ssize_t readlink(const char *path, char *target, size_t size)
{
    if (!is_pseudo_terminal(path))
        return NEXT(ssize_t(*)(const char *, char *, size_t), "readlink")(path, target, size);
    size_t length = sizeof TARGET - 1 < size ? sizeof TARGET - 1 : size;
    memcpy(target, TARGET, length);
    return (ssize_t)length;
}

int ioctl(int descriptor, unsigned long request, ...)
{
    va_list rest;
    va_start(rest, request);
    void *argument = va_arg(rest, void *);
    va_end(rest);
    int status = NEXT(int (*)(int, unsigned long, ...), "ioctl")(descriptor, request, argument);
    if (status != -1 || (errno != ENOTTY && errno != EINVAL))
        return status;
    switch (request) {
    case TIOCMGET:
        *(int *)argument = TIOCM_DTR | TIOCM_CTS | TIOCM_DSR;
        return 0;
    case TIOCMSET:
    case TIOCMBIS:
    case TIOCMBIC:
        return 0;
    default:
        return status;
    }
}
