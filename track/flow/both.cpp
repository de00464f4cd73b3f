// What gocv does not reach: OpenCV's threads, and pyramids that serve both
// directions of optical flow.

#include "both.h"

#include <algorithm>
#include <vector>

#include <opencv2/core.hpp>
#include <opencv2/core/utility.hpp>
#include <opencv2/video/tracking.hpp>

void flow_one_thread(void) { cv::setNumThreads(1); }

namespace {

void follow(const std::vector<cv::Mat> &from, const std::vector<cv::Mat> &to, int width, int height, int count,
	int window, int levels, const float *points, float *places, uint8_t *found) {
	cv::Mat start(count, 1, CV_32FC2, const_cast<float *>(points)), end(count, 1, CV_32FC2, places), status(count, 1, CV_8UC1, found);
	const cv::TermCriteria criteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 30, 0.01);
	// The differences left are not asked for: they cost a look at every window.
	cv::calcOpticalFlowPyrLK(from, to, start, end, status, cv::noArray(), cv::Size(window, window), levels, criteria, cv::OPTFLOW_USE_INITIAL_FLOW, 1e-4);
	for (int i = 0; i < count; i++) {
		const float x = places[2 * i], y = places[2 * i + 1];
		found[i] = found[i] == 1 && x >= 0 && y >= 0 && x <= static_cast<float>(width - 1) && y <= static_cast<float>(height - 1);
	}
}

} // namespace

int flow_both(const uint8_t *a, int a_stride, const uint8_t *b, int b_stride, int width, int height,
	const float *points, const float *guess, int count, int window, int levels,
	float *there, uint8_t *found, float *back, uint8_t *returned) {
	try {
		const cv::Mat first(height, width, CV_8UC1, const_cast<uint8_t *>(a), a_stride);
		const cv::Mat second(height, width, CV_8UC1, const_cast<uint8_t *>(b), b_stride);
		std::vector<cv::Mat> from, to;
		const cv::Size size(window, window);
		levels = cv::buildOpticalFlowPyramid(first, from, size, levels, false);
		cv::buildOpticalFlowPyramid(second, to, size, levels, false);
		std::copy(guess, guess + 2 * count, there);
		follow(from, to, width, height, count, window, levels, points, there, found);
		std::vector<float> ends(points, points + 2 * count);
		for (int i = 0; i < count; i++)
			if (found[i])
				std::copy(there + 2 * i, there + 2 * i + 2, ends.begin() + 2 * i);
		std::copy(points, points + 2 * count, back);
		follow(to, from, width, height, count, window, levels, ends.data(), back, returned);
		return 0;
	} catch (...) {
		return 1;
	}
}
