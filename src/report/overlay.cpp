// The frame with everything found in it, as one PNG. Shapes tell the kinds apart; colours only help.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "polewright/page.hpp"
#include "report/overlay_marks.hpp"

namespace polewright {
namespace {

using namespace report;

constexpr int kLegendRow_px = 26;

/// The sky smoothed and in 16 greys, bright stars as they are: marks need no more beneath them, and noise would fill
/// most of the file.
cv::Mat picture_of(const GreyPicture& grey, int least_width) {
  const cv::Mat shown(grey.height_px, grey.width_px, CV_8UC1, const_cast<std::uint8_t*>(grey.pixels.data()));
  cv::Mat sky, bright, few, colour;
  cv::GaussianBlur(shown, sky, {}, 2.0);
  cv::bitwise_and(sky, cv::Scalar(0xf0), sky);
  cv::threshold(shown, bright, 95.0, 0.0, cv::THRESH_TOZERO);
  cv::bitwise_and(bright, cv::Scalar(0xe0), bright);
  cv::max(sky, bright, few);
  cv::cvtColor(few, colour, cv::COLOR_GRAY2BGR);
  if (grey.width_px >= least_width) return colour;
  const int factor = (least_width + grey.width_px - 1) / grey.width_px;  // whole, so that pixels stay pixels
  cv::Mat larger;
  cv::resize(colour, larger, {}, factor, factor, cv::INTER_NEAREST);
  return larger;
}

/// "120 too large for a star, 41 cut by the edge": main reasons, most frequent first.
std::string reasons_of(const FrameView& view) {
  std::map<std::string, int> counts;
  for (const StarMark& m : view.marks)
    if (m.kind == MarkKind::flagged) ++counts[main_reason(m)];
  std::vector<std::pair<std::string, int>> sorted(counts.begin(), counts.end());
  std::stable_sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
  if (sorted.empty()) return "none";
  std::string text;
  for (std::size_t i = 0; i < sorted.size() && i < 3; ++i)
    text += fmt::format("{}{} {}", i == 0 ? "" : ", ", sorted[i].second, sorted[i].first);
  return sorted.size() > 3 ? text + ", others" : text;
}

std::vector<LegendEntry> legend_of(const FrameView& view, double arrow_factor) {
  const auto count = [&](MarkKind kind) {
    return std::count_if(view.marks.begin(), view.marks.end(), [&](const StarMark& m) { return m.kind == kind; });
  };
  std::vector<LegendEntry> legend{
      {LegendShape::circle, fmt::format("{} identified", count(MarkKind::identified))},
      {LegendShape::square, fmt::format("{} like stars, not in the star table", count(MarkKind::unidentified))},
      {LegendShape::cross, fmt::format("{} flagged: {}", count(MarkKind::flagged), reasons_of(view))}};
  if (std::any_of(view.marks.begin(), view.marks.end(), has_trail))
    legend.push_back({LegendShape::trail, fmt::format("trail of one star, {:g} times its length", kTrailFactor)});
  if (arrow_factor > 0.0)
    legend.push_back({LegendShape::arrow, fmt::format("motion of the stars in a minute, {:g} times its length{}",
                                                      arrow_factor, view.motion_sense_known ? "" : ", sense unknown")});
  return legend;
}

/// As many entries on a row as fit.
cv::Mat legend_strip(const std::vector<LegendEntry>& entries, int width) {
  int x = 12, rows = 1;
  std::vector<cv::Point> places;
  for (const LegendEntry& entry : entries) {
    const int wide = 34 + text_width(entry.text) + 22;
    if (x > 12 && x + wide > width) {
      x = 12;
      ++rows;
    }
    places.emplace_back(x, rows * kLegendRow_px - 8);
    x += wide;
  }
  cv::Mat strip(rows * kLegendRow_px + 6, width, CV_8UC3, cv::Scalar(24, 20, 18));
  for (std::size_t i = 0; i < entries.size(); ++i) draw_legend_entry(strip, entries[i], places[i]);
  return strip;
}

}  // namespace

Status write_overlay(const std::string& path, const FrameView& view) {
  if (view.preview.pixels.empty())
    return Error{ErrorCode::write_failed, path, "there is no picture of the frame to draw on",
                 "a frame that can be read twice", "Check that the frame is still where it was"};
  cv::Mat picture = picture_of(view.preview, 1200);
  const double scale = static_cast<double>(picture.cols) / view.width_px;
  const double factor = motion_factor(view, scale);
  draw_motion(picture, view, scale, factor);
  draw_marks(picture, view, scale);
  cv::Mat whole;
  cv::vconcat(picture, legend_strip(legend_of(view, factor), picture.cols), whole);
  std::vector<unsigned char> png;
  cv::imencode(".png", whole, png, {cv::IMWRITE_PNG_COMPRESSION, 9});
  return write_whole(path, {png.begin(), png.end()});
}

}  // namespace polewright
