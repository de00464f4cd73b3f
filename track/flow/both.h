#ifndef JOGSTRIP_BOTH_H
#define JOGSTRIP_BOTH_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

// flow_one_thread keeps OpenCV from handing parts of a call to further threads.
void flow_one_thread(void);

// A flow_pair is two pictures of one size, ready to be followed between.
typedef struct flow_pair flow_pair;

// flow_pair_new builds the pyramids of a and b, with at most so many halvings, for
// windows of the given side. It returns NULL where OpenCV refuses. Give it back with
// flow_pair_free.
flow_pair *flow_pair_new(const uint8_t *a, int a_stride, const uint8_t *b, int b_stride, int width, int height, int window, int levels);
void flow_pair_free(flow_pair *pair);

// flow_follow follows count points (x, y, x, y, …) from a to b, or from b to a if
// backward. places holds where each is looked for and takes where it was found, found
// whether it was, inside the picture. left, unless NULL, takes the mean absolute difference
// of the two windows: it costs a look at each. It returns 0, or 1 where OpenCV refuses. It
// may be called from several threads at once.
int flow_follow(const flow_pair *pair, int backward, const float *points, int count, float *places, uint8_t *found, float *left);

#ifdef __cplusplus
}
#endif

#endif
