/*
 * world_operator: the web, in the place of link/web_server.c. Nobody comes but the operator, who
 * commissions each system once, at the very beginning.
 */
#ifndef WORLD_OPERATOR_H
#define WORLD_OPERATOR_H

void world_operator_begin(void);

#endif
