/*
 * service: the daemon. Builds the parts in written order, runs the loop, stops in reverse.
 *
 * One thread, one wait: curl's poll, with the broker's socket, the two web servers and the signals
 * as further descriptors. One turn: read a batch, judge, commit, acknowledge, move deliveries and
 * requests forward, compute the next deadline.
 *
 * When a commit fails nothing of the turn is kept: the connection to the broker is dropped without
 * an acknowledgement (the broker sends everything again), the store is closed, and opened anew
 * until it works; contractors are told straight from memory. The page keeps answering meanwhile.
 */
#ifndef DAEMON_SERVICE_SERVICE_H
#define DAEMON_SERVICE_SERVICE_H

/** Runs until SIGTERM or SIGINT. Returns the exit status: 0, 1 work failed, 2 bad settings. */
int service_run(const char *settings_file);

#endif
