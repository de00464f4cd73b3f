#ifndef JOGSTRIP_KERNEL_H
#define JOGSTRIP_KERNEL_H

#include <stdint.h>

// kernel_fit is what one look at a template in a plane gives.
typedef struct {
	double ncc;   // Weighted normalised cross-correlation.
	double gain;  // Contrast of the plane against the template's.
	double agree; // Sum of the robust weights.
	double square; // Sum of the robustly weighted squared residuals.
	double h[21]; // Normal equations: upper triangle of 6×6, row by row.
	double b[6];
} kernel_fit;

enum { kernel_good = 0, kernel_outside = 1, kernel_flat = 2, kernel_alien = 3 };

// kernel_register samples the plane where the template's pixels lie under the
// pose and fills in fit. parts holds the template's offsets u and v, its centred
// values, its gradients in x and y and its weights, count of each, one after the
// other, at distances of stride; count is a multiple of 8. scratch has room for
// 2·count numbers. least is the weight that must lie inside the plane.
int kernel_register(const float *pixels, int width, int height,
	const float *parts, int stride, int count, float mean,
	float x0, float y0, float c, float s, double least, float *scratch, kernel_fit *fit);

// kernel_halve halves a picture: each pixel becomes the rounded mean of four.
void kernel_halve(const uint8_t *from, int from_stride, uint8_t *to, int width, int height);

// kernel_smooth smooths a picture of at least 3×3 with ¼·[1 2 1] along both axes.
// row has room for width numbers.
void kernel_smooth(const uint8_t *from, int from_stride, float *to, int width, int height, float *row);

// kernel_shrink averages squares of factor × factor pixels, rounded; factor is
// at most 64. row has room for width · factor numbers.
void kernel_shrink(const uint8_t *from, int from_stride, int factor, uint8_t *to, int width, int height, uint16_t *row);

// kernel_sums adds up count squares of side × side pixels that lie side by side;
// side is at most 16.
void kernel_sums(const uint8_t *from, int stride, int side, uint16_t *to, int count);

// kernel_differences fills out with the magnitudes of a − b, count of each, and
// adds how often each comes to histogram, which has bins of them; larger ones
// count as the last.
void kernel_differences(const uint16_t *a, const uint16_t *b, uint16_t *out, int count, int32_t *histogram, int bins);

// kernel_changed sets box to the bounds (left, top, right, bottom; right and
// bottom beyond the last) of the squares of 3 × 3 cells in which three or more lie
// above limit; all zero where there is none. row has room for width numbers.
void kernel_changed(const uint16_t *cells, int width, int height, uint16_t limit, uint8_t *row, int *box);

enum { kernel_beyond = 32 };

// kernel_products adds up, for every place of a template of w × h in a picture of
// width × height, the products of its pixels and those of the picture below, middle taken
// off both. scratch has room for width + kernel_beyond numbers in height + 1 rows, and
// w · h more.
void kernel_products(const uint8_t *pixels, int stride, int width, int height,
	const uint8_t *template, int template_stride, int w, int h, int middle, float *scratch, float *out);

// kernel_normalise turns such sums of products into correlations, with −1 where the
// picture below the template varies by less than one grey level squared. middle was
// taken off all values before they were multiplied, and of the template's before their sum
// and that of their squares were made. columns has room for twice width numbers. h is at
// most 2¹⁴.
void kernel_normalise(const uint8_t *pixels, int stride, int width, int w, int h,
	int middle, int64_t template_sum, int64_t template_square, float *scores, int wide, int high, uint32_t *columns);

// kernel_patch is where a patch begins among the parts, below 0 where there is
// nothing of it, and its structure tensor.
typedef struct {
	int at;
	float xx, xy, yy;
} kernel_patch;

// kernel_follow moves patches of side × side pixels, each at its place (x, y) of the
// picture from its top-left pixel, to where they fit the picture best. parts holds
// each patch's values and its gradients in x and y, count of each; count is side²
// rounded up to a multiple of 8, and what is beyond side² is zero. left becomes the
// mean absolute difference left, or −1 where a patch left the picture or does not
// settle. scratch has room for count numbers.
void kernel_follow(const uint8_t *pixels, int stride, int width, int height,
	const kernel_patch *patches, int number, const float *parts, int side, int count,
	int iterations, float *scratch, float *places, float *left);

#endif
