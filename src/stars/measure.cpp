#include "stars/measure.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace polewright {
namespace {

constexpr int kMaxRadius = 24;  // px of the window; larger images are not points
constexpr int kSide = 2 * kMaxRadius + 1;

/// Pixels around a candidate with the sky map taken off; mosaics keep each colour's own level.
struct Stamp {
  int x0 = 0, y0 = 0, width = 0, height = 0;
  std::array<float, static_cast<std::size_t>(kSide) * kSide> value{};

  [[nodiscard]] float at(int x, int y) const { return value[static_cast<std::size_t>((y - y0) * width + (x - x0))]; }
};

void cut(const Frame& frame, const BackgroundMap& background, int cx, int cy, int radius, Stamp& stamp) {
  stamp.x0 = std::max(0, cx - radius);
  stamp.y0 = std::max(0, cy - radius);
  stamp.width = std::min(frame.width - 1, cx + radius) - stamp.x0 + 1;
  stamp.height = std::min(frame.height - 1, cy + radius) - stamp.y0 + 1;
  std::array<float, 4> sky{};
  for (int c = 0; c < background.classes(); ++c) {
    const int x = (cx & ~1) + (c & 1), y = (cy & ~1) + (c >> 1);
    sky[static_cast<std::size_t>(c)] = background.level(x, y);
  }
  for (int y = 0; y < stamp.height; ++y)
    for (int x = 0; x < stamp.width; ++x) {
      const int fx = stamp.x0 + x, fy = stamp.y0 + y;
      stamp.value[static_cast<std::size_t>(y * stamp.width + x)] =
          static_cast<float>(frame.at(fx, fy)) - sky[static_cast<std::size_t>(background.class_of(fx, fy))];
    }
}

/// Median and lower half-width of the outermost two rows and columns of the stamp.
void ring_statistics(const Stamp& stamp, double& level, double& scatter) {
  std::array<float, static_cast<std::size_t>(8) * kSide> ring{};
  std::size_t n = 0;
  for (int y = 0; y < stamp.height; ++y)
    for (int x = 0; x < stamp.width; ++x) {
      const bool rim = x < 2 || y < 2 || x >= stamp.width - 2 || y >= stamp.height - 2;
      if (rim && n < ring.size()) ring[n++] = stamp.value[static_cast<std::size_t>(y * stamp.width + x)];
    }
  const auto rank = [&](double fraction) {
    const auto k = static_cast<std::ptrdiff_t>(fraction * static_cast<double>(n - 1));
    std::nth_element(ring.begin(), ring.begin() + k, ring.begin() + static_cast<std::ptrdiff_t>(n));
    return static_cast<double>(ring[static_cast<std::size_t>(k)]);
  };
  level = rank(0.5);
  scatter = level - rank(0.1587);
}

/// Weighted sums under a Gaussian window centred at (x, y).
struct WindowSums {
  double w = 0.0, wx = 0.0, wy = 0.0, wxx = 0.0, wxy = 0.0, wyy = 0.0;
};

WindowSums window_sums(const Stamp& stamp, double sky, double x, double y, double sigma) {
  std::array<double, kSide> gx{}, gy{};
  const double k = -0.5 / (sigma * sigma);
  for (int i = 0; i < stamp.width; ++i) gx[static_cast<std::size_t>(i)] = std::exp(k * std::pow(stamp.x0 + i - x, 2));
  for (int i = 0; i < stamp.height; ++i) gy[static_cast<std::size_t>(i)] = std::exp(k * std::pow(stamp.y0 + i - y, 2));
  WindowSums s;
  for (int j = 0; j < stamp.height; ++j) {
    double r0 = 0.0, r1 = 0.0, r2 = 0.0;
    const float* row = &stamp.value[static_cast<std::size_t>(j * stamp.width)];
    for (int i = 0; i < stamp.width; ++i) {
      const double dx = stamp.x0 + i - x;
      const double w = gx[static_cast<std::size_t>(i)] * (static_cast<double>(row[i]) - sky);
      r0 += w;
      r1 += w * dx;
      r2 += w * dx * dx;
    }
    const double dy = stamp.y0 + j - y, g = gy[static_cast<std::size_t>(j)];
    s.w += g * r0;
    s.wx += g * r1;
    s.wy += g * r0 * dy;
    s.wxx += g * r2;
    s.wxy += g * r1 * dy;
    s.wyy += g * r0 * dy * dy;
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

Measurement measure(const Frame& frame, const BackgroundMap& background, PixelPoint start, double sigma_px) {
  Measurement m;
  const int cx = static_cast<int>(std::lround(start.x)), cy = static_cast<int>(std::lround(start.y));
  const int radius = std::clamp(static_cast<int>(std::ceil(3.5 * sigma_px)) + 2, 5, kMaxRadius);
  static thread_local Stamp stamp;
  cut(frame, background, cx, cy, radius, stamp);
  double offset = 0.0, scatter = 0.0;
  ring_statistics(stamp, offset, scatter);
  m.sky = background.level(cx, cy) + offset;
  m.ring_level = offset;
  m.noise = background.noise(cx, cy);
  m.ring_noise = std::max(scatter, m.noise);
  m.at_edge = stamp.width < 2 * radius + 1 || stamp.height < 2 * radius + 1;
  m.peak = static_cast<double>(stamp.at(cx, cy)) - offset;
  const double saturation = 0.98 * frame.white_level;
  for (int y = std::max(0, cy - 2); y <= std::min(frame.height - 1, cy + 2); ++y)
    for (int x = std::max(0, cx - 2); x <= std::min(frame.width - 1, cx + 2); ++x)
      m.saturated_pixels += frame.at(x, y) >= saturation ? 1 : 0;

  m.x = cx;
  m.y = cy;
  WindowSums s;
  for (int round = 0; round < 10; ++round) {
    s = window_sums(stamp, offset, m.x, m.y, sigma_px);
    if (!(s.w > 0.0)) return m;
    const double sx = 2.0 * s.wx / s.w, sy = 2.0 * s.wy / s.w;  // ×2: the window hides half of the displacement
    m.x += std::clamp(sx, -1.0, 1.0);
    m.y += std::clamp(sy, -1.0, 1.0);
    if (std::abs(m.x - cx) > radius / 2.0 || std::abs(m.y - cy) > radius / 2.0) return m;
    m.converged = std::abs(sx) < 1e-3 && std::abs(sy) < 1e-3;
    if (m.converged) break;
  }
  m.significance = s.w / (m.ring_noise * std::sqrt(M_PI) * sigma_px);  // Σ window² = πσ²
  const double mx = s.wx / s.w, my = s.wy / s.w;
  m.moments = without_window({s.wxx / s.w - mx * mx, s.wxy / s.w - mx * my, s.wyy / s.w - my * my}, sigma_px);
  // Σ window·image of a unit Gaussian image is 1/√det(1 + moments/σ²).
  const double v = 1.0 / (sigma_px * sigma_px);
  const double det = (1.0 + m.moments.xx * v) * (1.0 + m.moments.yy * v) - m.moments.xy * m.moments.xy * v * v;
  m.flux = s.w * std::sqrt(std::max(det, 1.0));
  return m;
}

}  // namespace polewright
