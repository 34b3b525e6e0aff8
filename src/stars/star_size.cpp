#include "stars/star_size.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "stars/calibration.hpp"
#include "stars/measure.hpp"
#include "stars/surroundings.hpp"

namespace polewright {
namespace {

constexpr std::size_t kWanted = 200;
constexpr double kLeastSignificance = 10.0;
constexpr double kMinSigma_px = 0.45;  // a point blurred by the pixel alone has 0.29
constexpr double kMaxSigma_px = 8.0;

/// One pass over the candidates with a window of the given width.
StarSize size_through(const Frame& frame, const BackgroundMap& background, const std::vector<Candidate>& candidates,
                      double window_px) {
  const Ring ring(frame, background, window_px);
  std::vector<double> major, minor, q1, q2, ratio;
  for (const Candidate& c : candidates) {
    if (major.size() >= kWanted || static_cast<double>(c.significance) < kLeastSignificance) break;
    if (stands_alone(frame, background, c.x, c.y)) continue;
    const Measurement m = measure(frame, background, c.x, c.y, ring.around(c.x, c.y).level, window_px);
    if (!m.converged || m.saturated_pixels > 0 || m.at_edge) continue;
    const double half = 0.5 * (m.moments.xx - m.moments.yy), mean = 0.5 * (m.moments.xx + m.moments.yy);
    const double spread = std::hypot(half, m.moments.xy);
    if (mean - spread < kMinSigma_px * kMinSigma_px) continue;  // a hot pixel or a cosmic ray
    major.push_back(mean + spread);
    minor.push_back(mean - spread);
    ratio.push_back((mean + spread) / (mean - spread));
    q1.push_back(24.0 * half);  // moments along and across differ by L²/12
    q2.push_back(24.0 * m.moments.xy);
  }
  StarSize size;
  size.stars = static_cast<int>(major.size());
  if (size.stars < 5) {
    size.sigma_px = size.sigma_across_px = window_px;
    return size;
  }
  const double across = median_or(minor, 0.0), along = median_or(major, 0.0);
  size.sigma_px = std::clamp(std::sqrt(0.5 * (across + along)), kMinSigma_px, kMaxSigma_px);
  size.sigma_across_px = std::clamp(std::sqrt(across), kMinSigma_px, kMaxSigma_px);
  size.q1 = median_or(q1, 0.0);
  size.q2 = median_or(q2, 0.0);
  size.elongation = median_or(ratio, 1.0);
  return size;
}

struct CrossLight {
  double middle = 0.0, beside = 0.0;
};

/// Light of the brightest pixel at (x, y) and of the four beside it together.
std::optional<CrossLight> light_of_cross(const Frame& frame, const BackgroundMap& background, int x, int y) {
  const auto light = [&](int i, int j) { return frame.at(i, j) - static_cast<double>(background.level(i, j)); };
  if (x < 2 || y < 2 || x >= frame.width - 2 || y >= frame.height - 2) return {};
  int px = x, py = y;
  for (int j = y - 1; j <= y + 1; ++j)
    for (int i = x - 1; i <= x + 1; ++i)
      if (light(i, j) > light(px, py)) px = i, py = j;
  return CrossLight{light(px, py), light(px - 1, py) + light(px + 1, py) + light(px, py - 1) + light(px, py + 1)};
}

}  // namespace

bool stands_alone(const Frame& frame, const BackgroundMap& background, int x, int y) {
  const auto light = light_of_cross(frame, background, x, y);
  return light && light->beside < 0.5 * light->middle;
}

bool clearly_stands_alone(const Frame& frame, const BackgroundMap& background, int x, int y) {
  const auto light = light_of_cross(frame, background, x, y);
  if (!light) return false;
  // The four beside scatter by twice the noise together. Filters pass at least a seventh of a star's light beside it.
  const double share = frame.mosaic.is_colour() ? 0.15 : 0.5;
  return light->beside + 4.0 * static_cast<double>(background.noise(x, y)) < share * light->middle;
}

StarSize measure_star_size(const Frame& frame, const BackgroundMap& background,
                           const std::vector<Candidate>& candidates) {
  StarSize size = size_through(frame, background, candidates, kFirstLook_px);
  for (int round = 0; round < 2 && size.stars >= 5; ++round) {
    const StarSize next = size_through(frame, background, candidates, size.sigma_across_px);
    if (next.stars < 5) break;
    const bool settled = std::abs(next.sigma_across_px - size.sigma_across_px) < 0.05 * size.sigma_across_px;
    size = next;
    if (settled) break;
  }
  return size;
}

}  // namespace polewright
