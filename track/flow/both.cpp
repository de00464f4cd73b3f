// What gocv does not reach: OpenCV's threads, and pyramids that serve both
// directions of optical flow.

#include "both.h"

#include <memory>
#include <vector>

#include <opencv2/core.hpp>
#include <opencv2/core/utility.hpp>
#include <opencv2/video/tracking.hpp>

void flow_one_thread(void) { cv::setNumThreads(1); }

struct flow_pair {
	std::vector<cv::Mat> first, second; // Pyramids: picture and gradients of every level.
	int width, height, window, levels;
};

flow_pair *flow_pair_new(const uint8_t *a, int a_stride, const uint8_t *b, int b_stride, int width, int height, int window, int levels) {
	try {
		auto pair = std::make_unique<flow_pair>();
		pair->width = width;
		pair->height = height;
		pair->window = window;
		const cv::Mat first(height, width, CV_8UC1, const_cast<uint8_t *>(a), a_stride);
		const cv::Mat second(height, width, CV_8UC1, const_cast<uint8_t *>(b), b_stride);
		pair->levels = cv::buildOpticalFlowPyramid(first, pair->first, cv::Size(window, window), levels);
		cv::buildOpticalFlowPyramid(second, pair->second, cv::Size(window, window), pair->levels);
		return pair.release();
	} catch (...) {
		return nullptr;
	}
}

void flow_pair_free(flow_pair *pair) { delete pair; }

int flow_follow(const flow_pair *pair, int backward, const float *points, int count, float *places, uint8_t *found, float *left) {
	try {
		const std::vector<cv::Mat> &from = backward ? pair->second : pair->first, &to = backward ? pair->first : pair->second;
		cv::Mat start(count, 1, CV_32FC2, const_cast<float *>(points)), end(count, 1, CV_32FC2, places), status(count, 1, CV_8UC1, found);
		cv::Mat differences;
		if (left != nullptr)
			differences = cv::Mat(count, 1, CV_32FC1, left);
		const cv::TermCriteria criteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 30, 0.01);
		cv::calcOpticalFlowPyrLK(from, to, start, end, status, left != nullptr ? cv::_OutputArray(differences) : cv::_OutputArray(cv::noArray()),
			cv::Size(pair->window, pair->window), pair->levels, criteria, cv::OPTFLOW_USE_INITIAL_FLOW, 1e-4);
		for (int i = 0; i < count; i++) {
			const float x = places[2 * i], y = places[2 * i + 1];
			found[i] = found[i] == 1 && x >= 0 && y >= 0 && x <= static_cast<float>(pair->width - 1) && y <= static_cast<float>(pair->height - 1);
		}
		return 0;
	} catch (...) {
		return 1;
	}
}
