"""What the modules of Python's own library lack on Windows.

Source: the stubs of the standard library (typeshed), by their `sys.platform` conditions, and Python's documentation of
each name ("Availability: Unix"); `tests/system/windows/test_names.py` compares these lists with the stubs.
"""

from __future__ import annotations

import re

#: Modules that can't be imported there.
NO_MODULES = frozenset(
    (
        "_curses _posixshmem _posixsubprocess crypt curses fcntl grp nis posix pty pwd readline resource spwd syslog"
        " termios tty"
    ).split()
)

#: Names of each module that are missing there, constants by their families.
MISSING = {
    "os": re.compile(
        r"(CLD|EFD|EX(?!_OK\b)|F(?!_OK\b)|GRND|MFD|POSIX|PRIO|RTLD|RWF|SCHED|SPLICE|ST|XATTR)_\w+"
        r"|P_(ALL|PGID|PID|PIDFD)|SEEK_(DATA|HOLE)|NGROUPS_MAX"
        r"|W(CONTINUED|COREDUMP|EXITED|EXITSTATUS|IFCONTINUED|IFEXITED|IFSIGNALED|IFSTOPPED|NOHANG|NOWAIT|STOPPED|STOPSIG"
        r"|TERMSIG|UNTRACED)"
        r"|O_(ACCMODE|ASYNC|CLOEXEC|DIRECT|DIRECTORY|DSYNC|FSYNC|LARGEFILE|NDELAY|NOATIME|NOCTTY|NOFOLLOW|NONBLOCK|PATH|RSYNC"
        r"|SYNC|TMPFILE)"
        r"|(chown|chroot|confstr|confstr_names|copy_file_range|ctermid|environb|eventfd|eventfd_read|eventfd_write|fchdir"
        r"|fchmod|fchown|fdatasync|fork|forkpty|fpathconf|fstatvfs|fwalk|get_blocking|getegid|getenvb|geteuid|getgid"
        r"|getgrouplist|getgroups|getloadavg|getpgid|getpgrp|getpriority|getrandom|getresgid|getresuid|getsid|getuid"
        r"|getxattr|initgroups|killpg|lchown|listxattr|lockf|login_tty|major|makedev|memfd_create|minor|mkfifo|mknod|nice"
        r"|openpty|pathconf|pathconf_names|pidfd_open|pipe2|posix_fadvise|posix_fallocate|posix_spawn|posix_spawnp|pread"
        r"|preadv|pwrite|pwritev|readv|register_at_fork|removexattr|sched_\w+|sendfile|set_blocking|setegid|seteuid|setgid"
        r"|setgroups|setpgid|setpgrp|setpriority|setregid|setresgid|setresuid|setreuid|setsid|setuid|setxattr|spawnlp"
        r"|spawnlpe|spawnvp|spawnvpe|splice|statvfs|sync|sysconf|sysconf_names|tcgetpgrp|tcsetpgrp|ttyname|uname|wait|wait3"
        r"|wait4|waitid|waitid_result|writev)"
    ),
    "signal": re.compile(
        r"ITIMER_\w+|ItimerError|SIG_(BLOCK|SETMASK|UNBLOCK)|Sigmasks"
        r"|SIG(?!(INT|ILL|FPE|SEGV|TERM|BREAK|ABRT)\b)[A-Z0-9]+"
        r"|(alarm|getitimer|pause|pidfd_send_signal|pthread_kill|pthread_sigmask|setitimer|siginterrupt|sigpending"
        r"|sigtimedwait|sigwait|sigwaitinfo|struct_siginfo)"
    ),
    "socket": re.compile(
        r"AF_(?!(APPLETALK|DECnet|INET|INET6|IPX|IRDA|SNA|UNSPEC|BLUETOOTH)\b)\w+"
        r"|(ALG|CAN|IOCTL_VM|J1939|NETLINK|PACKET|SCM|TIPC|UDPLITE|VMADDR|VM_SOCKETS)_\w+"
        r"|CMSG_(LEN|SPACE)|EAI_(ADDRFAMILY|OVERFLOW|SYSTEM)|IPPROTO_(GRE|IPIP|MPTCP|RSVP|TP|UDPLITE)"
        r"|IPV6_(DSTOPTS|NEXTHOP|PATHMTU|RECVDSTOPTS|RECVHOPLIMIT|RECVHOPOPTS|RECVPATHMTU|RECVPKTINFO|RTHDRDSTOPTS|RTHDR_TYPE_0)"
        r"|IP_(BIND_ADDRESS_NO_PORT|DEFAULT_MULTICAST_LOOP|DEFAULT_MULTICAST_TTL|MAX_MEMBERSHIPS|RECVOPTS|RECVRETOPTS|RETOPTS"
        r"|TRANSPARENT)"
        r"|MSG_(CMSG_CLOEXEC|CONFIRM|DONTWAIT|EOR|FASTOPEN|MORE|NOSIGNAL)|PF_\w+|SOCK_(CLOEXEC|NONBLOCK)"
        r"|SOL_(ALG|CAN_BASE|CAN_RAW|RDS|TIPC)"
        r"|SO_(BINDTODEVICE|DOMAIN|INCOMING_CPU|J1939_\w+|MARK|PASSCRED|PASSSEC|PEERCRED|PEERSEC|PRIORITY|PROTOCOL|REUSEPORT"
        r"|VM_SOCKETS_\w+)"
        r"|TCP_(CONGESTION|CORK|DEFER_ACCEPT|INFO|LINGER2|NOTSENT_LOWAT|SYNCNT|USER_TIMEOUT|WINDOW_CLAMP)"
        r"|recv_fds|send_fds|sethostname"
    ),
    "select": re.compile(r"(EPOLL|POLL)\w+|PIPE_BUF|epoll|poll"),
    "selectors": re.compile(r"(Epoll|Poll|Devpoll|Kqueue)Selector"),
    "time": re.compile(r"CLOCK_\w+|clock_(get|set)\w+|pthread_getcpuclockid|tzset"),
    "sys": re.compile(r"abiflags|getdlopenflags|setdlopenflags"),
}
