#include <algorithm>
#include <limits>

#include "stars/star_fit.hpp"

namespace polewright {
namespace {

std::uint8_t amplitude_of(FilterColour colour) {
  return colour == FilterColour::green ? 1 : colour == FilterColour::blue ? 2 : 0;
}

/// Sky brightness above black per class relative to their mean: how a little more or less sky would show.
std::array<float, 4> sky_shares(const Frame& frame, const std::array<float, 4>& level, int classes) {
  std::array<float, 4> share{1.0F, 1.0F, 1.0F, 1.0F};
  if (classes == 1) return share;
  float mean = 0.0F;
  for (std::size_t c = 0; c < 4; ++c) {
    share[c] = level[c] - static_cast<float>(frame.black_level[c]);
    if (share[c] < 1.0F) return {1.0F, 1.0F, 1.0F, 1.0F};
    mean += share[c] / 4.0F;
  }
  for (float& s : share) s /= mean;
  return share;
}

}  // namespace

FitPixels cut_pixels(const Frame& frame, const BackgroundMap& background, const NoiseModel& noise, PixelPoint middle,
                     double trail_x_px, double trail_y_px, double reach) {
  FitPixels d;
  d.spans = spans_around(middle, trail_x_px, trail_y_px, reach, frame.width, frame.height);
  d.mismatch = noise.mismatch;
  d.colours = frame.mosaic.is_colour() ? 3 : 1;
  const auto n = static_cast<std::size_t>(d.spans.pixels);
  for (std::vector<float>* plane : {&d.value, &d.sky_variance, &d.gain, &d.sky_share}) plane->resize(n);
  d.colour.resize(n);
  const int mx = static_cast<int>(middle.x), my = static_cast<int>(middle.y);
  std::array<float, 4> level{}, variance{}, gain{};
  std::array<std::uint8_t, 4> colour{};
  for (int c = 0; c < background.classes(); ++c) {
    const auto k = static_cast<std::size_t>(c);
    const float sigma = background.noise((mx & ~1) + (c & 1), (my & ~1) + (c >> 1));
    level[k] = background.level((mx & ~1) + (c & 1), (my & ~1) + (c >> 1));
    variance[k] = sigma * sigma;
    gain[k] = noise.gain[k];
    colour[k] = d.colours == 3 ? amplitude_of(frame.mosaic.colour[k]) : std::uint8_t{0};
  }
  const std::array<float, 4> share = sky_shares(frame, level, background.classes());
  const double saturation = 0.98 * frame.white_level;
  // The map is bilinear: over the few pixels of a round star one level per class will do, along a trail it will not.
  const bool extended = trail_x_px * trail_x_px + trail_y_px * trail_y_px > 16.0 * 16.0;
  const auto has_value = [&](int x, int y) {
    const auto at =
        static_cast<std::uint32_t>(y) * static_cast<std::uint32_t>(frame.width) + static_cast<std::uint32_t>(x);
    return frame.blank.empty() || !std::binary_search(frame.blank.begin(), frame.blank.end(), at);
  };
  std::size_t i = 0;
  for (std::size_t r = 0; r < d.spans.rows.size(); ++r) {
    const int y = d.spans.y0 + static_cast<int>(r);
    for (int x = d.spans.rows[r].x0; x < d.spans.rows[r].x1; ++x, ++i) {
      const auto c = static_cast<std::size_t>(background.class_of(x, y));
      const float raw = static_cast<float>(frame.at(x, y));
      d.value[i] = raw - (extended ? background.level(x, y) : level[c]);
      const bool counts = raw < static_cast<float>(saturation) && has_value(x, y);
      d.sky_variance[i] = counts ? variance[c] : std::numeric_limits<float>::infinity();
      d.gain[i] = gain[c];
      d.sky_share[i] = share[c];
      d.colour[i] = colour[c];
    }
  }
  return d;
}

}  // namespace polewright
