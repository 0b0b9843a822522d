/*
 * series_arrivals: the readings of a backlog. A broker's queue holds one reading of each point
 * after another: put into its place at once, each would change a page of readings and one of hours,
 * and its commit would write them all. So while the store gathers (series_gather), they go one
 * behind the other into the table `arrivals`, and are remembered here by point, with the hours that
 * are put for them meanwhile. What somebody asks of a point goes into its place before (…_settle);
 * all of it goes point by point when the backlog is over, or when there is no more room, and while
 * it goes none is gathered. What a process that died has left in the table, or a rollback, goes
 * into its place before anything else is asked: the hours are then computed from the readings.
 * Private to lib/store.
 */
#ifndef STORE_SERIES_ARRIVALS_H
#define STORE_SERIES_ARRIVALS_H

#include "store/series.h"

struct series_arrivals;

/** Does the store gather the newest readings of points now? */
bool series_arrivals_gather(const struct store *store);
/** One that is later than all of its point, within a transaction. */
enum store_status series_arrivals_add(struct store *store, int64_t key,
                                      const struct reading *reading, enum series_origin origin);

/** Are there readings of the point that are not in their places? Its hours wait with them. */
bool series_arrivals_wait(const struct store *store, int64_t key);
enum store_status series_arrivals_put_hour(struct store *store, int64_t key,
                                           const struct series_hour *hour);

/** Puts what waits of a point into its place. Nothing to do costs nothing. */
enum store_status series_arrivals_settle(struct store *store, int64_t key);
/** The same of all points, however many: what removes or moves readings comes after it. */
enum store_status series_arrivals_settle_all(struct store *store);

#endif
