#include <algorithm>
#include <cmath>
#include <numbers>

#include "motion/pattern_votes.hpp"
#include "motion/rigid_fit.hpp"
#include "polewright/motion.hpp"

namespace polewright {
namespace {

using namespace motion_detail;

constexpr std::size_t kMostStars = 1500;  // more say nothing new about three numbers
constexpr double kSmallestVariance_px2 = 1e-4;
constexpr double kMaxChance = 1e-6;
constexpr std::size_t kFewestPairs = 3;

std::vector<Place> usable_places(const StarList& list) {
  std::vector<Place> places;
  for (std::uint32_t i = 0; i < list.stars.size() && places.size() < kMostStars; ++i) {
    const Star& s = list.stars[i];
    const double variance = 0.5 * (s.position_cov.xx + s.position_cov.yy);
    if (!s.flags.usable() || !std::isfinite(s.position.x) || !std::isfinite(s.position.y)) continue;
    places.push_back({s.position, std::isfinite(variance) ? std::max(variance, kSmallestVariance_px2) : 1.0, i});
  }
  return places;
}

std::size_t stars_inside(const RigidMotion& m, PixelPoint centre, const std::vector<Place>& a, int width, int height) {
  return static_cast<std::size_t>(std::count_if(a.begin(), a.end(), [&](const Place& p) {
    const PixelPoint q = moved(m, centre, p.position);
    return q.x >= 0 && q.y >= 0 && q.x < width && q.y < height;
  }));
}

/// log10 of the Poisson chance of at least `count` accidental pairs, over all motions that were in the running.
double log10_chance(std::size_t count, std::size_t inside, std::size_t stars_b, double radius_px, double area_px2) {
  const double mean = static_cast<double>(inside * stars_b) * std::numbers::pi * radius_px * radius_px / area_px2;
  double log_term = -mean;
  for (std::size_t k = 1; k <= count; ++k) log_term += std::log(mean / static_cast<double>(k));
  const double motions = std::max(1.0, area_px2 / (radius_px * radius_px));
  return (log_term + std::log(motions)) / std::log(10.0);
}

struct Judged {
  RigidFit fit;
  std::vector<Pair> pairs;
  double log10_chance = 0.0;
};

std::optional<Judged> refine(RigidMotion motion, PixelPoint centre, const std::vector<Place>& a,
                             const std::vector<Place>& b, const PlaceGrid& grid, int width, int height) {
  Judged best;
  double radius = 16.0;
  for (int pass = 0; pass < 6; ++pass) {
    best.pairs = pairs_under(motion, centre, a, b, grid, radius);
    if (best.pairs.size() < kFewestPairs) return {};
    const auto fit = fit_rigid(best.pairs, centre, a, b);
    if (!fit) return {};
    best.fit = *fit;
    motion = fit->motion;
    if (pass < 5) radius = std::clamp(4.0 * fit->residual_rms_px, 2.0, radius);
  }
  const double area = static_cast<double>(width) * height;
  const std::size_t inside = stars_inside(motion, centre, a, width, height);
  best.log10_chance = log10_chance(best.pairs.size(), inside, b.size(), radius, area);
  // A motion that leaves most of the overlapping stars without a partner is not the frames' motion.
  if (best.pairs.size() * 10 < std::min(inside, b.size())) return {};
  return best;
}

}  // namespace

std::optional<FrameShift> shift_between(const StarList& list_a, const StarList& list_b) {
  if (list_a.width != list_b.width || list_a.height != list_b.height || list_a.width <= 0) return {};
  const auto a = usable_places(list_a), b = usable_places(list_b);
  if (a.size() < kFewestPairs || b.size() < kFewestPairs) return {};
  const PixelPoint centre{0.5 * (list_a.width - 1), 0.5 * (list_a.height - 1)};
  const PlaceGrid grid(b, list_b.width, list_b.height);
  std::optional<Judged> best;
  for (const RigidMotion& motion : vote_for_motions(a, b, centre, {})) {
    auto judged = refine(motion, centre, a, b, grid, list_b.width, list_b.height);
    if (judged && (!best || judged->log10_chance < best->log10_chance)) best = std::move(judged);
  }
  if (!best || best->log10_chance > std::log10(kMaxChance)) return {};
  FrameShift shift;
  shift.shift_x_px = best->fit.motion.shift_x_px;
  shift.shift_y_px = best->fit.motion.shift_y_px;
  shift.roll = Angle::rad(best->fit.motion.roll_rad);
  shift.shift_cov = best->fit.shift_cov;
  shift.roll_sigma_rad = best->fit.roll_sigma_rad;
  shift.residual_rms_px = best->fit.residual_rms_px;
  for (const auto& [i, j] : best->pairs) shift.pairs.emplace_back(a[i].star, b[j].star);
  return shift;
}

}  // namespace polewright
