// The inner loops of registration and of the background. They are in C because
// the Go compiler has no vector instructions. Sums are kept in eight lanes, in
// a fixed order and without fused multiply-adds, so every processor gives the
// same bits: one without 256-bit vectors does the same sums in two halves.

#include "kernel.h"

#include <math.h>
#include <string.h>

#if !defined(__clang__)
#pragma GCC optimize("O3", "fp-contract=off", "no-math-errno", "no-trapping-math")
#endif

#if defined(__x86_64__) && !defined(__clang__)
// The first has as many lanes as the second, but more room for numbers in use.
#define WIDE __attribute__((target_clones("arch=x86-64-v4", "avx2", "default")))
#else
#define WIDE
#endif
#define INLINE static inline __attribute__((always_inline))

typedef float f8 __attribute__((vector_size(32)));
typedef int32_t i8 __attribute__((vector_size(32)));

INLINE f8 load(const float *p) { f8 v; memcpy(&v, p, sizeof v); return v; }
INLINE void store(float *p, f8 v) { memcpy(p, &v, sizeof v); }
INLINE f8 all(float x) { return (f8){x, x, x, x, x, x, x, x}; }
INLINE f8 keep(f8 v, i8 mask) { return (f8)((i8)v & mask); }
INLINE f8 magnitude(f8 v) { return (f8)((i8)v & 0x7fffffff); }
INLINE double sum(f8 v) {
	return (((double)v[0] + v[4]) + ((double)v[1] + v[5])) + (((double)v[2] + v[6]) + ((double)v[3] + v[7]));
}

// steps_of_one reports whether every number is one more than that before it.
INLINE int steps_of_one(i8 v) {
	const int32_t first = v[0];
	const i8 want = {first, first + 1, first + 2, first + 3, first + 4, first + 5, first + 6, first + 7};
	typedef int64_t l4 __attribute__((vector_size(32)));
	const l4 off = (l4)(v ^ want);
	return (off[0] | off[1] | off[2] | off[3]) == 0;
}

WIDE int kernel_register(const float *pixels, int width, int height,
	const float *parts, int stride, int count, float mean,
	float x0, float y0, float c, float s, double least, float *scratch, kernel_fit *fit) {
	const float *pu = parts, *pv = parts + stride, *pt = parts + 2 * stride;
	const float *px = parts + 3 * stride, *py = parts + 4 * stride, *pw = parts + 5 * stride;
	float *values = scratch, *weights = scratch + count;
	const f8 zero = all(0), right = all((float)(width - 1)), bottom = all((float)(height - 1));
	f8 sw = zero, si = zero, sii = zero, st = zero, stt = zero, sit = zero;
	for (int i = 0; i < count; i += 8) {
		f8 u = load(pu + i), v = load(pv + i);
		f8 x = x0 + (c * u - s * v), y = y0 + (s * u + c * v);
		i8 in = (x >= zero) & (y >= zero) & (x < right) & (y < bottom);
		x = keep(x, in);
		y = keep(y, in);
		i8 xi = __builtin_convertvector(x, i8), yi = __builtin_convertvector(y, i8);
		f8 fx = x - __builtin_convertvector(xi, f8), fy = y - __builtin_convertvector(yi, f8);
		i8 at = yi * width + xi;
		const float *q = pixels + at[0];
		f8 a, b, c0, c1;
		if (steps_of_one(at)) {
			// As mostly where template and plane are of about one size and upright.
			a = load(q);
			b = load(q + 1);
			c0 = load(q + width);
			c1 = load(q + width + 1);
		} else {
			const float *q1 = pixels + at[1], *q2 = pixels + at[2], *q3 = pixels + at[3];
			const float *q4 = pixels + at[4], *q5 = pixels + at[5], *q6 = pixels + at[6], *q7 = pixels + at[7];
#define CORNER(d) (f8){q[d], q1[d], q2[d], q3[d], q4[d], q5[d], q6[d], q7[d]}
			a = CORNER(0);
			b = CORNER(1);
			c0 = CORNER(width);
			c1 = CORNER(width + 1);
#undef CORNER
		}
		f8 top = a + fx * (b - a);
		f8 low = c0 + fx * (c1 - c0);
		f8 value = top + fy * (low - top) - mean;
		f8 w = keep(load(pw + i), in), t = load(pt + i);
		store(values + i, value);
		store(weights + i, w);
		f8 wv = w * value, wt = w * t;
		sw += w;
		si += wv;
		sii += wv * value;
		st += wt;
		stt += wt * t;
		sit += wv * t;
	}
	double n = sum(sw);
	if (!(n >= least) || n <= 0)
		return kernel_outside;
	double mi = sum(si) / n, mt = sum(st) / n;
	double vi = sum(sii) - mi * mi * n, vt = sum(stt) - mt * mt * n, both = sum(sit) - mi * mt * n;
	if (!(vi > 1e-3 * n) || !(vt > 1e-3 * n))
		return kernel_flat;
	fit->ncc = both / sqrt(vi * vt);
	// The symmetric gain does not shrink where the two disagree.
	double gain = sqrt(vi / vt);
	fit->gain = gain;
	const float per = (float)(1 / gain), offset = (float)(mi / gain - mt);
	f8 off = zero;
	for (int i = 0; i < count; i += 8) {
		f8 r = load(values + i) * per - offset - load(pt + i);
		store(values + i, r);
		off += load(weights + i) * magnitude(r);
	}
	double sigma = 1.25 * sum(off) / n;
	if (!(sigma > 0.2))
		sigma = 0.2;
	const float cut = (float)(1 / (6.25 * sigma * sigma));
	f8 h[21], b[6], square = zero;
	for (int i = 0; i < 21; i++)
		h[i] = zero;
	for (int i = 0; i < 6; i++)
		b[i] = zero;
	for (int i = 0; i < count; i += 8) {
		f8 r = load(values + i);
		f8 k = 1 / (1 + r * r * cut);
		k *= k * load(weights + i);
		f8 gx = load(px + i), gy = load(py + i), u = load(pu + i), v = load(pv + i), j4 = load(pt + i);
		f8 j2 = gx * u + gy * v, j3 = gy * u - gx * v;
		f8 kx = k * gx, ky = k * gy, k2 = k * j2, k3 = k * j3, k4 = k * j4, kr = k * r;
		h[0] += kx * gx;
		h[1] += kx * gy;
		h[2] += kx * j2;
		h[3] += kx * j3;
		h[4] += kx * j4;
		h[5] += kx;
		h[6] += ky * gy;
		h[7] += ky * j2;
		h[8] += ky * j3;
		h[9] += ky * j4;
		h[10] += ky;
		h[11] += k2 * j2;
		h[12] += k2 * j3;
		h[13] += k2 * j4;
		h[14] += k2;
		h[15] += k3 * j3;
		h[16] += k3 * j4;
		h[17] += k3;
		h[18] += k4 * j4;
		h[19] += k4;
		h[20] += k;
		b[0] += kx * r;
		b[1] += ky * r;
		b[2] += k2 * r;
		b[3] += k3 * r;
		b[4] += k4 * r;
		b[5] += kr;
		square += kr * r;
	}
	for (int i = 0; i < 21; i++)
		fit->h[i] = sum(h[i]);
	for (int i = 0; i < 6; i++)
		fit->b[i] = sum(b[i]);
	fit->agree = fit->h[20];
	fit->square = sum(square);
	return fit->agree > 0 ? kernel_good : kernel_alien;
}

WIDE void kernel_halve(const uint8_t *from, int from_stride, uint8_t *to, int width, int height) {
	for (int y = 0; y < height; y++) {
		const uint8_t *a = from + (size_t)2 * y * from_stride, *b = a + from_stride;
		uint8_t *out = to + (size_t)y * width;
		for (int x = 0; x < width; x++)
			out[x] = (uint8_t)((a[2 * x] + a[2 * x + 1] + b[2 * x] + b[2 * x + 1] + 2) >> 2);
	}
}

WIDE void kernel_smooth(const uint8_t *from, int from_stride, float *to, int width, int height, float *row) {
	for (int y = 0; y < height; y++) {
		const uint8_t *b = from + (size_t)y * from_stride;
		const uint8_t *a = y > 0 ? b - from_stride : b, *c = y + 1 < height ? b + from_stride : b;
		for (int x = 0; x < width; x++)
			row[x] = (float)(a[x] + 2 * b[x] + c[x]);
		float *out = to + (size_t)y * width;
		const int last = width - 1;
		// Divisions by 16 are exact as products.
		out[0] = (3 * row[0] + row[1]) * 0.0625f;
		out[last] = (3 * row[last] + row[last - 1]) * 0.0625f;
		for (int x = 1; x < last; x++)
			out[x] = (row[x - 1] + 2 * row[x] + row[x + 1]) * 0.0625f;
	}
}

// across averages what lies side by side in a row of sums of columns.
INLINE void across(const uint16_t *row, int factor, uint8_t *out, int width) {
	const uint32_t area = (uint32_t)(factor * factor);
	// Exact for sums up to 64·64·255: the product is within 2⁻¹² of the quotient.
	const uint64_t per = (((uint64_t)1 << 32) + area - 1) / area;
	for (int x = 0; x < width; x++) {
		uint32_t s = area / 2;
		for (int i = 0; i < factor; i++)
			s += row[x * factor + i];
		out[x] = (uint8_t)((s * per) >> 32);
	}
}

typedef uint16_t h8 __attribute__((vector_size(16)));

// thirds replaces a row by the sums of threes that lie side by side, count of them.
INLINE void thirds(uint16_t *row, int count) {
	int x = 0;
	for (; x + 8 <= count; x += 8) {
		h8 a, b, c;
		memcpy(&a, row + 3 * x, sizeof a);
		memcpy(&b, row + 3 * x + 8, sizeof b);
		memcpy(&c, row + 3 * x + 16, sizeof c);
		// Firsts, seconds and thirds of the eight threes.
		const h8 p = __builtin_shufflevector(__builtin_shufflevector(a, b, 0, 3, 6, 9, 12, 15, 0, 0), c, 0, 1, 2, 3, 4, 5, 10, 13);
		const h8 q = __builtin_shufflevector(__builtin_shufflevector(a, b, 1, 4, 7, 10, 13, 0, 0, 0), c, 0, 1, 2, 3, 4, 8, 11, 14);
		const h8 r = __builtin_shufflevector(__builtin_shufflevector(a, b, 2, 5, 8, 11, 14, 0, 0, 0), c, 0, 1, 2, 3, 4, 9, 12, 15);
		const h8 sum = p + q + r;
		memcpy(row + x, &sum, sizeof sum); // What is read next lies farther on.
	}
	for (; x < count; x++)
		row[x] = (uint16_t)(row[3 * x] + row[3 * x + 1] + row[3 * x + 2]);
}

WIDE void kernel_shrink(const uint8_t *from, int from_stride, int factor, uint8_t *to, int width, int height, uint16_t *row) {
	const int wide = width * factor;
	for (int y = 0; y < height; y++) {
		uint8_t *out = to + (size_t)y * width;
		// One row after the other: the picture comes from afar, and that is the order in
		// which the processor fetches ahead.
		for (int j = 0; j < factor; j++) {
			const uint8_t *a = from + ((size_t)y * factor + j) * from_stride;
			if (j == 0)
				for (int x = 0; x < wide; x++)
					row[x] = a[x];
			else
				for (int x = 0; x < wide; x++)
					row[x] = (uint16_t)(row[x] + a[x]);
		}
		switch (factor) {
		case 2: across(row, 2, out, width); break;
		case 3: // 1080p.
			thirds(row, width);
			for (int x = 0; x < width; x++) // Exact ninths up to 2299.
				out[x] = (uint8_t)(((uint32_t)(row[x] + 4) * 7282) >> 16);
			break;
		case 4: across(row, 4, out, width); break;
		case 6: // 4K.
			thirds(row, 2 * width);
			for (int x = 0; x < width; x++)
				row[x] = (uint16_t)(row[2 * x] + row[2 * x + 1]);
			for (int x = 0; x < width; x++) // Exact parts of 36 up to 9198.
				out[x] = (uint8_t)((((uint32_t)(row[x] + 18) * 7282) >> 16) >> 2);
			break;
		default: across(row, factor, out, width);
		}
	}
}

enum { block = 256 };

INLINE void sums(const uint8_t *from, int stride, int side, uint16_t *to, int count) {
	uint16_t column[block];
	const int most = block / side;
	for (int done = 0; done < count; done += most) {
		const int now = count - done < most ? count - done : most;
		for (int x = 0; x < now * side; x++)
			column[x] = from[done * side + x];
		for (int j = 1; j < side; j++)
			for (int x = 0; x < now * side; x++)
				column[x] = (uint16_t)(column[x] + from[j * stride + done * side + x]);
		for (int x = 0; x < now; x++) {
			uint16_t s = 0;
			for (int i = 0; i < side; i++)
				s = (uint16_t)(s + column[x * side + i]);
			to[done + x] = s;
		}
	}
}

WIDE void kernel_sums(const uint8_t *from, int stride, int side, uint16_t *to, int count) {
	if (side == 4)
		sums(from, stride, 4, to, count);
	else
		sums(from, stride, side, to, count);
}

WIDE void kernel_differences(const uint16_t *a, const uint16_t *b, uint16_t *out, int count, int32_t *histogram, int bins) {
	for (int i = 0; i < count; i++)
		out[i] = (uint16_t)(a[i] > b[i] ? a[i] - b[i] : b[i] - a[i]);
	for (int i = 0; i < count; i++)
		histogram[out[i] < bins ? out[i] : bins - 1]++;
}

WIDE void kernel_changed(const uint16_t *cells, int width, int height, uint16_t limit, uint8_t *row, int *box) {
	int left = width, top = height, right = -1, bottom = -1;
	for (int y = 1; y + 1 < height; y++) {
		const uint16_t *b = cells + (size_t)y * width, *a = b - width, *c = b + width;
		for (int x = 0; x < width; x++)
			row[x] = (uint8_t)((a[x] > limit) + (b[x] > limit) + (c[x] > limit));
		uint8_t any = 0;
		for (int x = 1; x + 1 < width; x++)
			any |= row[x - 1] + row[x] + row[x + 1] >= 3;
		if (!any)
			continue;
		for (int x = 1; x + 1 < width; x++) {
			if (row[x - 1] + row[x] + row[x + 1] < 3)
				continue;
			left = x < left ? x : left;
			right = x > right ? x : right;
		}
		top = y < top ? y : top;
		bottom = y;
	}
	box[0] = box[1] = box[2] = box[3] = 0;
	if (right < 0)
		return;
	box[0] = left - 1;
	box[1] = top - 1;
	box[2] = right + 2;
	box[3] = bottom + 2;
}

typedef float f16 __attribute__((vector_size(64)));

INLINE f16 load16(const float *p) { f16 v; memcpy(&v, p, sizeof v); return v; }

// less copies rows of pixels to numbers with middle taken off; what a row of the numbers
// has beyond the pixels is zero.
INLINE void less(const uint8_t *pixels, int stride, int width, int height, int middle, float *out, int out_stride) {
	for (int y = 0; y < height; y++, pixels += stride, out += out_stride) {
		for (int x = 0; x < width; x++)
			out[x] = (float)(pixels[x] - middle);
		memset(out + width, 0, sizeof *out * (size_t)(out_stride - width));
	}
}

WIDE void kernel_products(const uint8_t *pixels, int stride, int width, int height,
	const uint8_t *template, int template_stride, int w, int h, int middle, float *scratch, float *out) {
	// Tiles of two rows and two times sixteen columns reach beyond the places there are.
	enum { tile = kernel_beyond };
	const int row = width + tile, wide = width - w + 1, high = height - h + 1;
	float *own = scratch + (size_t)row * (height + 1);
	less(pixels, stride, width, height, middle, scratch, row);
	memset(scratch + (size_t)row * height, 0, sizeof *scratch * (size_t)row);
	less(template, template_stride, w, h, middle, own, w);
	for (int y = 0; y < high; y += 2) {
		for (int x = 0; x < wide; x += tile) {
			f16 a = {0}, b = {0}, c = {0}, d = {0};
			for (int j = 0; j < h; j++) {
				const float *p = scratch + (size_t)(y + j) * row + x, *q = p + row;
				for (int i = 0; i < w; i++) {
					const float t = own[j * w + i];
					a += t * load16(p + i);
					b += t * load16(p + i + 16);
					c += t * load16(q + i);
					d += t * load16(q + i + 16);
				}
			}
			const size_t many = sizeof *out * (size_t)(wide - x < tile ? wide - x : tile);
			const f16 rows[4] = {a, b, c, d};
			memcpy(out + (size_t)y * wide + x, rows, many);
			if (y + 1 < high)
				memcpy(out + (size_t)(y + 1) * wide + x, rows + 2, many);
		}
	}
}

WIDE void kernel_normalise(const uint8_t *pixels, int stride, int width, int w, int h,
	int middle, int64_t template_sum, int64_t template_square, float *scores, int wide, int high, uint32_t *columns) {
	// Sums of every column over the rows of the template, and of its squares: the
	// largest, 2¹⁴·255², fits.
	uint32_t *restrict sum = columns, *restrict square = columns + width;
	memset(columns, 0, 2 * (size_t)width * sizeof *columns);
	for (int y = 0; y < h; y++) {
		const uint8_t *row = pixels + (size_t)y * stride;
		for (int x = 0; x < width; x++) {
			sum[x] += row[x];
			square[x] += (uint32_t)row[x] * row[x];
		}
	}
	const int64_t n = (int64_t)w * h;
	const double own = (double)(n * template_square - template_sum * template_sum);
	for (int y = 0; y < high; y++) {
		if (y > 0) {
			const uint8_t *last = pixels + (size_t)(y - 1) * stride, *next = last + (size_t)h * stride;
			for (int x = 0; x < width; x++) {
				sum[x] += (uint32_t)next[x] - last[x];
				square[x] += (uint32_t)next[x] * next[x] - (uint32_t)last[x] * last[x];
			}
		}
		int64_t a = 0, b = 0;
		for (int x = 0; x < w; x++) {
			a += sum[x];
			b += square[x];
		}
		float *to = scores + (size_t)y * wide;
		for (int x = 0; x < wide; x++) {
			const int64_t varies = n * b - a * a;
			const double both = (double)n * to[x] - (double)template_sum * (double)(a - middle * n);
			to[x] = varies >= n * n ? (float)(both / sqrt(own * (double)varies)) : -1;
			if (x + 1 < wide) {
				a += (int64_t)sum[x + w] - sum[x];
				b += (int64_t)square[x + w] - square[x];
			}
		}
	}
}

typedef uint8_t b16 __attribute__((vector_size(16)));
typedef uint64_t q2 __attribute__((vector_size(16)));

// bytes returns the eight bytes from p on as numbers. Left to itself the compiler
// puts them together one by one.
INLINE f8 bytes(const uint8_t *p) {
	uint64_t eight;
	memcpy(&eight, p, sizeof eight);
	const b16 low = (b16)(q2){eight, 0}, none = {0};
	// Little-endian pairs of a byte and nothing are numbers of 16 bits.
	const h8 wide = (h8)__builtin_shufflevector(low, none, 0, 16, 1, 17, 2, 18, 3, 19, 4, 20, 5, 21, 6, 22, 7, 23);
	return __builtin_convertvector(__builtin_convertvector(wide, i8), f8);
}

// follow moves one patch from (*x, *y) and returns what kernel_follow says of it.
INLINE float follow(const uint8_t *pixels, int stride, int width, int height,
	const float *parts, int side, int count, float xx, float xy, float yy,
	int iterations, float *scratch, float *x, float *y) {
	const float *pt = parts, *px = parts + count, *py = parts + 2 * count;
	const float determinant = xx * yy - xy * xy;
	if (!(determinant > 0))
		return -1;
	float cx = *x, cy = *y, left = -1;
	for (int i = side * side; i < count; i++)
		scratch[i] = 0;
	for (int it = 0; it <= iterations; it++) {
		if (!(cx >= 0 && cy >= 0 && cx < (float)(width - side) && cy < (float)(height - side)))
			return -1;
		const int ix = (int)cx, iy = (int)cy;
		const float fx = cx - (float)ix, fy = cy - (float)iy;
		const float w00 = (1 - fx) * (1 - fy), w01 = fx * (1 - fy), w10 = (1 - fx) * fy, w11 = fx * fy;
		for (int j = 0; j < side; j++) {
			const uint8_t *a = pixels + (size_t)(iy + j) * stride + ix, *b = a + stride;
			float *out = scratch + j * side;
			if (side < 8) {
				for (int i = 0; i < side; i++)
					out[i] = w00 * a[i] + w01 * a[i + 1] + w10 * b[i] + w11 * b[i + 1];
				continue;
			}
			// Eight at a time; the last eight begin so that they end with the row.
			for (int i = 0; i < side; i += 8) {
				const int k = i + 8 <= side ? i : side - 8;
				store(out + k, w00 * bytes(a + k) + w01 * bytes(a + k + 1) + w10 * bytes(b + k) + w11 * bytes(b + k + 1));
			}
		}
		f8 bx = all(0), by = all(0), off = all(0);
		for (int i = 0; i < count; i += 8) {
			f8 d = load(scratch + i) - load(pt + i);
			bx += d * load(px + i);
			by += d * load(py + i);
			off += magnitude(d);
		}
		left = (float)(sum(off) / (side * side));
		if (it == iterations)
			break;
		const float sx = (float)sum(bx), sy = (float)sum(by);
		const float dx = (yy * sx - xy * sy) / determinant, dy = (xx * sy - xy * sx) / determinant;
		if (!(dx * dx + dy * dy < 9))
			return -1;
		cx -= dx;
		cy -= dy;
		*x = cx;
		*y = cy;
		if (dx * dx + dy * dy < 1e-4f)
			break;
	}
	return left;
}

WIDE void kernel_follow(const uint8_t *pixels, int stride, int width, int height,
	const kernel_patch *patches, int number, const float *parts, int side, int count,
	int iterations, float *scratch, float *places, float *left) {
	for (int i = 0; i < number; i++) {
		const kernel_patch *p = patches + i;
		left[i] = p->at < 0 ? -1 : follow(pixels, stride, width, height, parts + p->at, side, count,
			p->xx, p->xy, p->yy, iterations, scratch, places + 2 * i, places + 2 * i + 1);
	}
}
