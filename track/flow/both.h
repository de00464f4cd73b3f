#ifndef JOGSTRIP_BOTH_H
#define JOGSTRIP_BOTH_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

// flow_one_thread keeps OpenCV from handing parts of a call to further threads.
void flow_one_thread(void);

// flow_both follows count points (x, y, x, y, …) from a to b, starting at guess,
// and what was found of them back to a, starting at points. there and back take
// the places, found and returned whether each was followed and lies inside the
// picture; what was not found goes back from where it began. It returns 0, or 1
// where OpenCV refused.
int flow_both(const uint8_t *a, int a_stride, const uint8_t *b, int b_stride, int width, int height,
	const float *points, const float *guess, int count, int window, int levels,
	float *there, uint8_t *found, float *back, uint8_t *returned);

#ifdef __cplusplus
}
#endif

#endif
