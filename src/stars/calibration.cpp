#include "stars/calibration.hpp"

#include <algorithm>
#include <cmath>

namespace polewright {

double median_or(std::vector<double> v, double otherwise) {
  if (v.empty()) return otherwise;
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

LightNoise light_noise(const BackgroundMap& background, const FitPixels& pixels, const StarFit& fit,
                       const Wings& wings) {
  const FitResiduals r = residuals_of(pixels, fit, wings);
  std::array<double, 4> excess{}, light{};
  double light2 = 0.0, light3 = 0.0;
  Eigen::Index i = 0;
  for (std::size_t row = 0; row < pixels.spans.rows.size(); ++row)
    for (int x = pixels.spans.rows[row].x0; x < pixels.spans.rows[row].x1; ++x, ++i) {
      const double m = static_cast<double>(r.light[i]), leverage = static_cast<double>(r.leverage[i]);
      if (!(r.weight[i] > 0.0F) || m <= 0.0 || leverage > 0.8) continue;
      const auto c = static_cast<std::size_t>(background.class_of(x, pixels.spans.y0 + static_cast<int>(row)));
      // Weights without the misfit: with it the bright cores, which show it, would fall silent.
      const auto k = static_cast<std::size_t>(i);
      const double sky = static_cast<double>(pixels.sky_variance[k]);
      const double w = std::pow(sky + static_cast<double>(pixels.gain[k]) * m, -2);
      const double square = std::pow(static_cast<double>(r.residual[i]), 2) / (1.0 - leverage);
      excess[c] += w * m * (square - sky);
      light[c] += w * m * m;
      light2 += w * m * m;
      light3 += w * m * m * m;
    }
  LightNoise out;
  for (std::size_t c = 0; c < 4; ++c) out.excess_per_light[c] = light[c] > 0.0 ? excess[c] / light[c] : 0.0;
  out.typical_light = light2 > 0.0 ? light3 / light2 : 0.0;
  return out;
}

namespace {

/// Mean of what lies within five median deviations of the median: a median alone would be low, as squares of few
/// residuals are skewed.
double clipped_mean(const std::vector<double>& v) {
  const double middle = median_or(v, 0.0);
  std::vector<double> off;
  for (const double x : v) off.push_back(std::abs(x - middle));
  const double limit = 7.5 * median_or(std::move(off), 0.0);  // 5 × 1.48 × median absolute deviation
  double sum = 0.0;
  int n = 0;
  for (const double x : v)
    if (std::abs(x - middle) <= limit) sum += x, ++n;
  return n > 0 ? sum / n : 0.0;
}

struct Point {
  double light, excess;
};

/// Slope of excess over light from the medians of the fainter and the brighter half; 0 when it is not upward.
double misfit_slope(std::vector<Point> points) {
  if (points.size() < 16) return 0.0;
  std::sort(points.begin(), points.end(), [](const Point& a, const Point& b) { return a.light < b.light; });
  std::array<std::vector<double>, 2> light, excess;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const std::size_t half = 2 * i / points.size();
    light[half].push_back(points[i].light);
    excess[half].push_back(points[i].excess);
  }
  const double run = median_or(light[1], 0.0) - median_or(light[0], 0.0);
  const double rise = clipped_mean(excess[1]) - clipped_mean(excess[0]);
  return run > 0.5 * median_or(light[0], 0.0) && rise > 0.0 ? rise / run : 0.0;
}

}  // namespace

NoiseModel noise_from(const std::vector<LightNoise>& stars, const NoiseModel& start) {
  NoiseModel noise = start;
  std::vector<Point> points;
  for (const LightNoise& s : stars)
    for (const double e : s.excess_per_light)
      if (e != 0.0) points.push_back({s.typical_light, e});
  if (points.size() < 5) return noise;
  const double slope = misfit_slope(points);
  noise.mismatch = static_cast<float>(std::sqrt(slope));
  for (std::size_t c = 0; c < 4; ++c) {
    std::vector<double> gains;
    for (const LightNoise& s : stars)
      if (s.excess_per_light[c] != 0.0) gains.push_back(s.excess_per_light[c] - slope * s.typical_light);
    if (gains.size() < 5) continue;
    noise.gain[c] = static_cast<float>(std::max(clipped_mean(gains), 0.05 * static_cast<double>(start.gain[c])));
  }
  return noise;
}

}  // namespace polewright
