#include "session/page_pictures.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace polewright::session {
namespace {

/// Median of each 2×2 position's samples: the sky in each colour.
std::array<double, 4> sky_of(const Frame& frame) {
  std::array<double, 4> sky{};
  for (int position = 0; position < 4; ++position) {
    std::vector<std::uint16_t> samples;
    const int step = std::max(2, 2 * (std::min(frame.width, frame.height) / 400));
    for (int y = position / 2; y < frame.height; y += step)
      for (int x = position % 2; x < frame.width; x += step) samples.push_back(frame.at(x, y));
    if (samples.empty()) continue;
    const auto middle = samples.begin() + static_cast<std::ptrdiff_t>(samples.size() / 2);
    std::nth_element(samples.begin(), middle, samples.end());
    sky[static_cast<std::size_t>(position)] = *middle;
  }
  return sky;
}

/// A rectangle of the frame as light above the sky, each output pixel the mean of `factor`² samples. Where the picture
/// is a colour mosaic and the factor odd, a 2×2 mean around each sample takes the pattern out.
struct Light {
  int width = 0, height = 0;
  std::vector<float> value;
};

Light light_of(const Frame& frame, const std::array<double, 4>& sky, int left, int top, int width, int height,
               int factor) {
  const int reach = frame.mosaic.is_colour() && factor % 2 == 1 ? factor + 1 : factor;
  Light out{(width + factor - 1) / factor, (height + factor - 1) / factor, {}};
  out.value.reserve(static_cast<std::size_t>(out.width) * static_cast<std::size_t>(out.height));
  for (int v = 0; v < out.height; ++v)
    for (int u = 0; u < out.width; ++u) {
      const int x0 = left + u * factor, y0 = top + v * factor;
      const int x1 = std::min(x0 + reach, frame.width), y1 = std::min(y0 + reach, frame.height);
      double sum = 0.0;
      for (int y = y0; y < y1; ++y)
        for (int x = x0; x < x1; ++x) sum += frame.at(x, y) - sky[static_cast<std::size_t>(2 * (y & 1) + (x & 1))];
      out.value.push_back(static_cast<float>(sum / std::max(1, (x1 - x0) * (y1 - y0))));
    }
  return out;
}

float quantile(std::vector<float> values, double q) {
  if (values.empty()) return 0.0F;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

/// Inverse hyperbolic sine: straight near the sky, logarithmic for bright stars, so both show. Black lies just under
/// the sky's middle, so that noise stays dark.
GreyPicture stretched(const Light& light) {
  const float sky = quantile(light.value, 0.5);
  const float noise = std::max(1e-3F, (sky - quantile(light.value, 0.16F)));
  const float black = sky - 1.5F * noise, soft = 6.0F * noise;
  const float white = std::max(black + 30.0F * noise, quantile(light.value, 0.9997));
  const float top = std::asinh((white - black) / soft);
  GreyPicture out{light.width, light.height, {}};
  out.pixels.reserve(light.value.size());
  for (const float v : light.value) {
    const float shade = std::asinh(std::max(0.0F, v - black) / soft) / top;
    out.pixels.push_back(static_cast<std::uint8_t>(std::lround(255.0F * std::min(1.0F, shade))));
  }
  return out;
}

}  // namespace

GreyPicture preview_of(const Frame& frame, int widest_px) {
  if (frame.pixels.empty()) return {};
  int factor = std::max(1, (frame.width + widest_px - 1) / widest_px);
  if (frame.mosaic.is_colour()) factor += factor % 2;
  return stretched(light_of(frame, sky_of(frame), 0, 0, frame.width, frame.height, factor));
}

GreyPicture crop_strip(const Frame& frame, int side_px) {
  if (frame.pixels.empty() || frame.width < side_px || frame.height < side_px) return {};
  const int right = (frame.width - side_px) & ~1,
            bottom = (frame.height - side_px) & ~1;  // even: keeps the mosaic's phase
  const std::array<std::pair<int, int>, 5> corners{
      {{(right / 2) & ~1, (bottom / 2) & ~1}, {0, 0}, {right, 0}, {0, bottom}, {right, bottom}}};
  Light all{5 * side_px, side_px, std::vector<float>(static_cast<std::size_t>(5 * side_px * side_px))};
  const std::array<double, 4> sky = sky_of(frame);
  for (std::size_t k = 0; k < corners.size(); ++k) {
    const Light one = light_of(frame, sky, corners[k].first, corners[k].second, side_px, side_px, 1);
    for (int y = 0; y < side_px; ++y)
      std::copy_n(one.value.begin() + y * side_px, side_px,
                  all.value.begin() + y * all.width + static_cast<int>(k) * side_px);
  }
  return stretched(all);
}

int crop_side_px(std::size_t frames) {
  return frames <= 120 ? 104 : frames <= 300 ? 96 : 72;
}

}  // namespace polewright::session
