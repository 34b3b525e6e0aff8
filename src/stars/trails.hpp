// Detection in frames whose stars are trails: the matched filter is the trail itself.
#pragma once

#include <optional>
#include <vector>

#include "polewright/frame.hpp"
#include "stars/background.hpp"
#include "stars/motion_field.hpp"

namespace polewright {

/// A trail found, with the frame's motion at its place.
struct TrailCandidate {
  PixelPoint middle;
  double tx = 0.0, ty = 0.0;  ///< from end to end, px
  double significance = 0.0;  ///< of the whole trail
  double evenness =
      1.0;  ///< mean of its fainter two thirds over that of all: near 1 for a trail, near 0 for a hot pixel
};

struct TrailedFrame {
  MotionField field;
  std::vector<TrailCandidate> trails;  ///< by falling significance
};

/// `sigma_px` is the width across. `bend` is 1/focal_px² or 0. Nothing when the bright images do not agree on one
/// motion of at least 2.5 widths: then the frame is not trailed, whatever its stars look like.
std::optional<TrailedFrame> detect_trails(const Frame& frame, const BackgroundMap& background, double sigma_px,
                                          double threshold, double bend, int threads);

}  // namespace polewright
