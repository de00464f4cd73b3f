package main

/*
#include <stdio.h>
#include <sys/resource.h>
#include <unistd.h>

// Go's runtime sets aside addresses before main begins, and can say nothing of its own where
// the process may not have so many. This runs before it.
__attribute__((constructor)) static void enough_addresses(void) {
	const rlim_t needed = (rlim_t)1900 << 20;
	struct rlimit limit;
	if (getrlimit(RLIMIT_AS, &limit) != 0 || limit.rlim_cur == RLIM_INFINITY || limit.rlim_cur >= needed)
		return;
	fprintf(stderr, "jogstrip: this process may have only %llu MiB of addresses, and needs 1900 MiB to begin: raise the limit (ulimit -v)\n",
		(unsigned long long)(limit.rlim_cur >> 20));
	_exit(1);
}
*/
import "C"
