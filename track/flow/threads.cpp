#include <opencv2/core/utility.hpp>

extern "C" void flow_one_thread(void) { cv::setNumThreads(1); }
