#include "session/night_double.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace polewright::session {
namespace {

constexpr double kReach_px = 60.0, kBin_px = 1.5;
/// Share of the stars that must have their second image; faint ones lose theirs below the threshold.
constexpr double kLeastShare = 0.3;

}  // namespace

std::optional<PixelPoint> doubled_by(const StarList& list) {
  struct Votes {
    int n = 0;
    double x = 0.0, y = 0.0;
  };
  std::map<std::pair<long, long>, Votes> votes;
  std::size_t stars = 0, pairs = 0;
  const std::size_t most = std::min<std::size_t>(list.stars.size(), 200);
  for (std::size_t i = 0; i < most; ++i) {
    if (!list.stars[i].flags.usable()) continue;
    ++stars;
    for (std::size_t k = 0; k < most; ++k) {
      const double dx = list.stars[k].position.x - list.stars[i].position.x,
                   dy = list.stars[k].position.y - list.stars[i].position.y;
      // Half of the plane: a pair votes once, towards the right.
      if (k == i || dx < 0.0 || (dx == 0.0 && dy <= 0.0) || std::hypot(dx, dy) > kReach_px ||
          !list.stars[k].flags.usable())
        continue;
      Votes& v = votes[{std::lround(dx / kBin_px), std::lround(dy / kBin_px)}];
      ++v.n;
      v.x += dx;
      v.y += dy;
      ++pairs;
    }
  }
  if (stars < 8 || votes.empty()) return {};
  const auto best = std::max_element(votes.begin(), votes.end(),
                                     [](const auto& a, const auto& b) { return a.second.n < b.second.n; });
  const Votes& v = best->second;
  const double bins = 0.5 * 3.14159 * std::pow(kReach_px / kBin_px, 2);
  const double chance = static_cast<double>(pairs - static_cast<std::size_t>(v.n)) / bins;
  // Two images make one pair, so a fully doubled field of n detections gives n/2 votes.
  if (v.n < 5 || v.n < 0.5 * kLeastShare * static_cast<double>(stars) || v.n < chance + 8.0 * std::sqrt(chance + 1.0))
    return {};
  return PixelPoint{v.x / v.n, v.y / v.n};
}

}  // namespace polewright::session
