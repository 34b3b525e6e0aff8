// Marks of the picture overlay, drawn with OpenCV on a BGR picture.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "polewright/evidence.hpp"

namespace polewright::report {

constexpr double kTrailFactor = 5.0;  ///< a trail of 3 px, plainly wrong on a print, becomes a line one can see

enum class LegendShape { circle, square, cross, trail, arrow };
struct LegendEntry {
  LegendShape shape{};
  std::string text;
};

[[nodiscard]] bool has_trail(const StarMark& mark);
/// The first of the flags, which is the one that rules the star out.
[[nodiscard]] std::string main_reason(const StarMark& mark);
[[nodiscard]] int text_width(const std::string& text);
void draw_legend_entry(cv::Mat& picture, const LegendEntry& entry, cv::Point baseline);

/// How many times larger than in a minute the motion is drawn, so that the longest arrow fills its cell; 0 without
/// motion.
[[nodiscard]] double motion_factor(const FrameView& view, double scale);
void draw_motion(cv::Mat& picture, const FrameView& view, double scale, double factor);
/// Every detection in its shape; names for the brightest, reasons for the flagged while there is room.
void draw_marks(cv::Mat& picture, const FrameView& view, double scale);

}  // namespace polewright::report
