#include "identify/grow.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace polewright {
namespace {

constexpr std::uint32_t kGrowDetections = 250;  // brightest ones are enough to find the way
constexpr std::size_t kGrowStars = 260;         // in the circle around the frame, half of it outside
constexpr std::uint32_t kAllDetections = 1500;
constexpr std::size_t kFewestPairs = 5;
constexpr std::size_t kAskedPairs = 250;
/// Catalogue error with the motions since J2000 of ordinary stars.
constexpr double kCatalogueSigma_rad = 0.35 / 206264.8;
/// What no distortion polynomial takes up.
constexpr double kModelSigma_px = 0.03;
/// An added lens term must lower the sum of squares by this much to be kept: far beyond what noise gives a free number.
constexpr double kWorthATerm = 15.0;

constexpr FitFreedom kFull{true, true, true, true};

double distance(PixelPoint a, PixelPoint b) {
  return std::hypot(a.x - b.x, a.y - b.y);
}

double farthest_corner(const Detections& d, PixelPoint from) {
  double far = 0.0;
  for (const double x : {0.0, d.width() - 1.0})
    for (const double y : {0.0, d.height() - 1.0}) far = std::max(far, distance(from, {x, y}));
  return far;
}

}  // namespace

std::vector<FieldStar> Grower::stars_around(const Pose& pose, std::size_t wanted) const {
  const auto axis = pose.lens.unproject(detections_.centre());
  if (!axis) return {};
  double radius = 0.0;
  for (const double x : {-0.5, detections_.width() - 0.5})
    for (const double y : {-0.5, detections_.height() - 0.5}) {
      const auto corner = pose.lens.unproject({x, y});
      radius = std::max(radius, corner ? angle_between(*corner, *axis).deg() : 95.0);
    }
  return field_stars(catalogue_, pose.camera_from_icrs.inverse() * *axis, Angle::deg(std::min(180.0, 1.02 * radius)),
                     wanted, time_);
}

double Grower::sigma_px(const Grown& grown, std::uint32_t detection) const {
  const double s = detections_[detection].sigma_px, c = kCatalogueSigma_rad * grown.pose.lens.focal_px;
  return std::sqrt(s * s + c * c + kModelSigma_px * kModelSigma_px);
}

std::vector<FitPair> Grower::fit_pairs(const Grown& grown) const {
  std::vector<FitPair> pairs;
  pairs.reserve(grown.pairs.size());
  for (const StarPair& p : grown.pairs) {
    assert(p.field < grown.field.size() && "pairs of another field");
    pairs.push_back({grown.field[p.field].direction, detections_[p.detection].place, sigma_px(grown, p.detection)});
  }
  return pairs;
}

FitSummary Grower::fit_with(Grown& grown, const FitFreedom& freedom, double scatter) const {
  FitOptions options;
  options.freedom = freedom;
  options.robust_sigmas *= scatter;
  options.half_diagonal_px = detections_.half_diagonal_px();
  grown.freedom = freedom;
  const FitSummary summary = fit_pose(grown.pose, fit_pairs(grown), options);
  grown.cost = summary.cost;
  return summary;
}

void Grower::fit(Grown& grown) const {
  fit_with(grown, grown.freedom, std::max(1.0, typical_sigmas(grown)));
}

double Grower::typical_sigmas(const Grown& grown) const {
  return robust_scatter(grown.pose, fit_pairs(grown));
}

std::optional<Grown> Grower::grow(const Seed& seed) const {
  Grown grown;
  grown.pose = seed.pose;
  grown.field = stars_around(seed.pose, kGrowStars);
  const double whole = farthest_corner(detections_, seed.centre);
  const std::uint32_t among = std::min(detections_.size(), kGrowDetections);
  double known = seed.known_px, reach = seed.reach_px, allowed_px = seed.allowed_px, slope = seed.allowed_slope;
  std::vector<char> used;
  for (bool last = false;;) {
    grown.pairs.clear();
    used.assign(detections_.size(), 0);
    std::vector<double> misfit;
    for (std::uint32_t i = 0; i < grown.field.size(); ++i) {
      const auto p = grown.pose.project(grown.field[i].direction);
      if (!p || !detections_.on_frame(*p)) continue;
      const double from_centre = distance(*p, seed.centre);
      if (from_centre > reach) continue;
      const double allowed = allowed_px + slope * std::max(0.0, from_centre - known);
      const auto hit = detections_.nearest(*p, allowed, among);
      if (!hit || used[*hit] != 0) continue;
      used[*hit] = 1;
      grown.pairs.push_back({i, *hit});
    }
    if (grown.pairs.size() < kFewestPairs && (last || reach > 0.5 * whole)) return {};
    if (grown.pairs.size() >= 4) {
      FitFreedom freedom;
      freedom.k1 = grown.pairs.size() >= 10 && reach > 0.4 * detections_.half_diagonal_px();
      const FitSummary summary = fit_with(grown, freedom, 3.0);
      double largest_sigma = 0.0;
      for (const StarPair& p : grown.pairs) largest_sigma = std::max(largest_sigma, sigma_px(grown, p.detection));
      allowed_px = 1.5 + 3.0 * std::min(summary.typical_sigmas, 10.0) * std::min(largest_sigma, 1.0);
      known = reach;
      slope = 0.03;
    }
    if (last) break;
    if (reach >= whole) last = true;
    reach *= 1.5;
  }
  return grown;
}

void Grower::associate(Grown& grown) const {
  std::vector<char> used(detections_.size(), 0);
  grown.pairs.clear();
  const std::uint32_t among = std::min(detections_.size(), kAllDetections);
  for (std::uint32_t i = 0; i < grown.field.size(); ++i) {
    const auto p = grown.pose.project(grown.field[i].direction);
    if (!p || !detections_.on_frame(*p)) continue;
    const auto hit = detections_.nearest(*p, 12.0, among);
    if (!hit || used[*hit] != 0) continue;
    const double sigma = sigma_px(grown, *hit);
    if (distance(*p, detections_[*hit].place) > grown.reach_sigmas * sigma) continue;
    used[*hit] = 1;
    grown.pairs.push_back({i, *hit});
  }
}

Grown Grower::with_fewer_pairs(const Grown& grown) const {
  // Some hundred stars over the whole list of brightness are enough to ask about the lens.
  Grown fewer = grown;
  const std::size_t stride = 1 + grown.pairs.size() / kAskedPairs;
  fewer.pairs.clear();
  for (std::size_t i = 0; i < grown.pairs.size(); i += stride) fewer.pairs.push_back(grown.pairs[i]);
  return fewer;
}

double Grower::cost_of_projection(const Grown& grown, Projection projection) const {
  Grown other = with_fewer_pairs(grown);
  if (projection != other.pose.lens.projection) {
    other.pose.lens.projection = projection;
    other.pose.lens.k1 = other.pose.lens.k2 = 0.0;
  }
  fit_with(other, kFull, 10.0);
  return other.cost;
}

void Grower::choose_freedom(Grown& grown) const {
  // From the fullest lens down: a term goes when the stars do not miss it.
  Grown best = with_fewer_pairs(grown);
  fit_with(best, kFull, std::max(1.0, typical_sigmas(best)));
  const double scatter = std::max(1.0, typical_sigmas(best));
  fit_with(best, kFull, scatter);
  const auto drop = [&](FitFreedom freedom) {
    Grown next = best;
    if (!freedom.k1) next.pose.lens.k1 = 0.0;
    if (!freedom.k2) next.pose.lens.k2 = 0.0;
    if (!freedom.principal_point) next.pose.lens.principal_point = detections_.centre();
    fit_with(next, freedom, scatter);
    const int dropped = best.freedom.count() - freedom.count();
    const bool too_few = static_cast<int>(best.pairs.size()) < 2 * best.freedom.count();
    if (too_few || 2.0 * (next.cost - best.cost) < kWorthATerm * scatter * scatter * dropped) best = std::move(next);
  };
  FitFreedom freedom = kFull;
  freedom.k2 = false;
  drop(freedom);
  freedom = best.freedom;
  freedom.principal_point = false;
  drop(freedom);
  freedom = best.freedom;
  freedom.k1 = false;
  if (!freedom.k2) drop(freedom);
  grown.pose = best.pose;
  grown.freedom = best.freedom;
}

void Grower::complete(Grown& grown) const {
  // In units of sigma: generous at first, because growing used few stars and a plain lens, whose pairs say nothing
  // about the corners.
  grown.reach_sigmas = 60.0;
  grown.field =
      stars_around(grown.pose, std::min<std::size_t>(2500, 60 + 4 * std::min(detections_.size(), kAllDetections)));
  associate(grown);
  settle(grown);
}

void Grower::settle(Grown& grown) const {
  for (int round = 0; round < 3 && grown.pairs.size() >= kFewestPairs; ++round) {
    if (round < 2) choose_freedom(grown);
    fit(grown);
    grown.reach_sigmas = std::clamp(4.0 * typical_sigmas(grown), 4.0, 60.0);
    associate(grown);
  }
  fit(grown);
}

double rms_px(const Grown& grown, const Detections& detections) {
  double sum = 0.0;
  for (const StarPair& p : grown.pairs)
    if (const auto model = grown.pose.project(grown.field[p.field].direction)) {
      const PixelPoint seen = detections[p.detection].place;
      sum += 0.5 * (std::pow(seen.x - model->x, 2) + std::pow(seen.y - model->y, 2));
    }
  return grown.pairs.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(grown.pairs.size()));
}

}  // namespace polewright
