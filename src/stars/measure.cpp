#include "stars/measure.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "stars/surroundings.hpp"

namespace polewright {
namespace {

constexpr int kMaxRadius = 24;  // px of the window; larger images are not points
constexpr int kSide = 2 * kMaxRadius + 1;

/// Pixels around a candidate with the sky taken off; mosaics keep each colour's own level.
struct Stamp {
  int x0 = 0, y0 = 0, width = 0, height = 0;
  std::array<float, static_cast<std::size_t>(kSide) * kSide> value;

  [[nodiscard]] const float* row(int j) const { return &value[static_cast<std::size_t>(j * width)]; }
};

void cut(const Frame& frame, const BackgroundMap& background, int cx, int cy, int radius, double sky_above_map,
         Stamp& stamp) {
  stamp.x0 = std::max(0, cx - radius);
  stamp.y0 = std::max(0, cy - radius);
  stamp.width = std::min(frame.width - 1, cx + radius) - stamp.x0 + 1;
  stamp.height = std::min(frame.height - 1, cy + radius) - stamp.y0 + 1;
  const ClassValues sky = levels_at(background, cx, cy);
  for (int j = 0; j < stamp.height; ++j) {
    const int y = stamp.y0 + j;
    const auto sky_of = [&](int x) {
      return sky[static_cast<std::size_t>(background.class_of(x, y))] + static_cast<float>(sky_above_map);
    };
    const std::array<float, 2> sky_here{sky_of(stamp.x0), sky_of(stamp.x0 + 1)};
    const std::uint16_t* from = &frame.pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(frame.width) +
                                              static_cast<std::size_t>(stamp.x0)];
    float* to = &stamp.value[static_cast<std::size_t>(j * stamp.width)];
    for (std::size_t i = 0; i < static_cast<std::size_t>(stamp.width); ++i)
      to[i] = static_cast<float>(from[i]) - sky_here[i & 1];
  }
}

using Line = std::array<float, kSide>;

/// exp(−(first + i − centre)²/2σ²) for i in [0, n): each value from the one before by a ratio that itself falls evenly.
void gaussian(int first, int n, double centre, double sigma, Line& g) {
  const double k = -0.5 / (sigma * sigma), d = first - centre, fall = std::exp(2.0 * k);
  double value = std::exp(k * d * d), ratio = std::exp(k * (2.0 * d + 1.0));
  for (int i = 0; i < n; ++i) {
    g[static_cast<std::size_t>(i)] = static_cast<float>(value);
    value *= ratio;
    ratio *= fall;
  }
}

/// Weighted sums under a Gaussian window.
struct WindowSums {
  double w = 0.0, wx = 0.0, wy = 0.0, wxx = 0.0, wxy = 0.0, wyy = 0.0;
};

/// Window centred at (x, y), moments about it. Columns are summed first, all at once, then these across.
WindowSums window_sums(const Stamp& stamp, double x, double y, double sigma) {
  Line gx, gy, column{}, column_y{}, column_yy{};
  gaussian(stamp.x0, stamp.width, x, sigma, gx);
  gaussian(stamp.y0, stamp.height, y, sigma, gy);
  const auto n = static_cast<std::size_t>(stamp.width);
  for (int j = 0; j < stamp.height; ++j) {
    const float dy = static_cast<float>(stamp.y0 + j - y), w = gy[static_cast<std::size_t>(j)];
    const float wy = w * dy, wyy = wy * dy;
    const float* v = stamp.row(j);
    for (std::size_t i = 0; i < n; ++i) {
      column[i] += w * v[i];
      column_y[i] += wy * v[i];
      column_yy[i] += wyy * v[i];
    }
  }
  WindowSums s;
  for (std::size_t i = 0; i < n; ++i) {
    const double dx = static_cast<double>(stamp.x0) + static_cast<double>(i) - x, g = static_cast<double>(gx[i]);
    const double gv = g * static_cast<double>(column[i]), gvy = g * static_cast<double>(column_y[i]);
    s.w += gv;
    s.wx += gv * dx;
    s.wxx += gv * dx * dx;
    s.wy += gvy;
    s.wxy += gvy * dx;
    s.wyy += g * static_cast<double>(column_yy[i]);
  }
  return s;
}

/// Moments of a Gaussian image from those under a Gaussian window: along each principal axis the inverses differ by
/// the window's. Beyond seven windows' width the size is not known; it is then given as that.
Covariance2 without_window(const Covariance2& seen, double sigma) {
  const double w = 1.0 / (sigma * sigma);
  const double half = 0.5 * (seen.xx - seen.yy), mean = 0.5 * (seen.xx + seen.yy);
  const double spread = std::hypot(half, seen.xy);
  const auto open_up = [&](double variance) {
    if (variance <= 0.0) return variance;
    return 1.0 / std::max(1.0 / variance - w, 0.02 * w);
  };
  const double major = open_up(mean + spread), minor = open_up(mean - spread);
  const double c = spread > 0.0 ? half / spread : 1.0, s = spread > 0.0 ? seen.xy / spread : 0.0;  // doubled angle
  return {0.5 * (major + minor) + 0.5 * (major - minor) * c, 0.5 * (major - minor) * s,
          0.5 * (major + minor) - 0.5 * (major - minor) * c};
}

}  // namespace

Measurement measure(const Frame& frame, const BackgroundMap& background, int x, int y, double sky_above_map,
                    double sigma_px) {
  Measurement m;
  const int radius = std::clamp(static_cast<int>(std::ceil(3.5 * sigma_px)) + 2, 5, kMaxRadius);
  static thread_local Stamp stamp;
  cut(frame, background, x, y, radius, sky_above_map, stamp);
  m.sky = static_cast<double>(background.level(x, y)) + sky_above_map;
  m.at_edge = stamp.width < 2 * radius + 1 || stamp.height < 2 * radius + 1;
  m.peak = static_cast<double>(stamp.row(y - stamp.y0)[x - stamp.x0]);
  const double saturation = 0.98 * frame.white_level;
  for (int j = std::max(0, y - 2); j <= std::min(frame.height - 1, y + 2); ++j)
    for (int i = std::max(0, x - 2); i <= std::min(frame.width - 1, x + 2); ++i)
      m.saturated_pixels += frame.at(i, j) >= saturation ? 1 : 0;

  m.x = x;
  m.y = y;
  WindowSums s;
  for (int round = 0; round < 10; ++round) {
    s = window_sums(stamp, m.x, m.y, sigma_px);
    if (!(s.w > 0.0)) return m;
    const double sx = 2.0 * s.wx / s.w, sy = 2.0 * s.wy / s.w;  // ×2: the window hides half of the displacement
    m.x += std::clamp(sx, -1.0, 1.0);
    m.y += std::clamp(sy, -1.0, 1.0);
    if (std::abs(m.x - x) > radius / 2.0 || std::abs(m.y - y) > radius / 2.0) return m;
    m.converged = std::abs(sx) < 1e-3 && std::abs(sy) < 1e-3;
    if (m.converged) break;
  }
  const double mx = s.wx / s.w, my = s.wy / s.w;
  m.moments = without_window({s.wxx / s.w - mx * mx, s.wxy / s.w - mx * my, s.wyy / s.w - my * my}, sigma_px);
  // Σ window·image of a unit Gaussian image is 1/√det(1 + moments/σ²).
  const double v = 1.0 / (sigma_px * sigma_px);
  const double det = (1.0 + m.moments.xx * v) * (1.0 + m.moments.yy * v) - m.moments.xy * m.moments.xy * v * v;
  m.flux = s.w * std::sqrt(std::max(det, 1.0));
  return m;
}

}  // namespace polewright
