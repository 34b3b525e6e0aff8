#include "identify/finish.hpp"

#include <algorithm>
#include <cmath>

#include "identify/believe.hpp"
#include "identify/observed_sky.hpp"
#include "polewright/sky.hpp"

namespace polewright {
namespace {

/// Half field beyond which the stars can tell projections apart.
constexpr double kWideHalfField_rad = 0.35;
/// Scatter, in the stars' own sigmas, at which nothing is left to explain.
constexpr double kGoodFit = 1.25;
/// A projection replaces another when its match is clearly less of an accident: more stars, or met more closely.
constexpr double kClearlyLess = 1.02;
/// A match counts as even over the frame when stars near the edge are met at least this much as often as near the axis.
constexpr double kEvenShare = 0.92;
/// Below this altitude of the field's centre, time or place must be wrong.
constexpr Angle kLowestCentre = Angle::deg(-2.0);
/// Accuracy of the planets' places with a margin.
constexpr Angle kPlanetReach = Angle::arcmin(2.0);

/// Share of the brighter stars the pose puts on the frame that were met, near the axis and far from it.
struct MetShares {
  double inner = 0.0, outer = 0.0;
};
MetShares met_shares(const Grown& grown, const Detections& detections) {
  std::vector<char> met(grown.field.size(), 0);
  for (const StarPair& p : grown.pairs) met[p.field] = 1;
  double stars[2] = {1.0, 1.0}, hits[2] = {0.0, 0.0};  // one star more than counted: no division by nothing
  int counted = 0;
  for (std::size_t i = 0; i < grown.field.size() && counted < 300; ++i) {
    const auto p = grown.pose.project(grown.field[i].direction);
    if (!p || !detections.on_frame(*p)) continue;
    ++counted;
    const PixelPoint c = detections.centre();
    const bool outer = std::hypot(p->x - c.x, p->y - c.y) > 0.6 * detections.half_diagonal_px();
    stars[outer] += 1.0;
    hits[outer] += met[i];
  }
  return {hits[0] / stars[0], hits[1] / stars[1]};
}

/// A rectilinear lens that leaves nothing to explain, at the edge as in the middle, needs no rival.
bool surely_rectilinear(const Grown& grown, const Detections& detections, const Grower& grower) {
  if (grown.pose.lens.projection != Projection::rectilinear || grower.typical_sigmas(grown) > kGoodFit) return false;
  const MetShares met = met_shares(grown, detections);
  return met.outer > kEvenShare * met.inner;
}

/// The middle of the frame, where projections agree, through another of them.
Seed seed_near_axis(const Grown& grown, Projection projection, const Detections& detections, const Grower& grower) {
  const double half = detections.half_diagonal_px();
  const PixelPoint c = detections.centre();
  Grown middle = grown;
  std::erase_if(middle.pairs, [&](const StarPair& p) {
    const PixelPoint place = detections[p.detection].place;
    return std::hypot(place.x - c.x, place.y - c.y) > 0.4 * half;
  });
  if (middle.pairs.size() < 8) middle.pairs = grown.pairs;
  middle.pose.lens.projection = projection;
  middle.pose.lens.k1 = middle.pose.lens.k2 = 0.0;  // those of another projection mislead
  middle.pose.lens.principal_point = c;
  middle.freedom = FitFreedom{};
  grower.fit(middle);
  return Seed{middle.pose, c, 0.3 * half, 0.45 * half, 3.0, 0.03};
}

Grown with_best_projection(Grown grown, const Detections& detections, const Grower& grower) {
  if (detections.half_diagonal_px() / grown.pose.lens.focal_px < kWideHalfField_rad ||
      surely_rectilinear(grown, detections, grower))
    return grown;
  const MetShares met = met_shares(grown, detections);
  const bool even = met.outer > kEvenShare * met.inner;
  const double own_cost = grower.cost_of_projection(grown, grown.pose.lens.projection);
  Grown best = grown;
  double least = log10_chance(best, detections, grower, 1);
  for (const Projection projection :
       {Projection::rectilinear, Projection::equidistant, Projection::equisolid, Projection::stereographic}) {
    if (projection == grown.pose.lens.projection) continue;
    // When the match holds over the whole frame, its own pairs tell whether another projection is worth the work.
    if (even && grower.cost_of_projection(grown, projection) > 0.95 * own_cost) continue;
    auto regrown = grower.grow(seed_near_axis(grown, projection, detections, grower));
    if (!regrown) continue;
    Grown& other = *regrown;
    grower.complete(other);
    if (const double chance = log10_chance(other, detections, grower, 1); chance < kClearlyLess * least) {
      least = chance;
      best = std::move(other);
    }
  }
  return best;
}

bool usable_time(UtcTime time) {
  const int year = time.calendar().year;
  return year >= 1900 && year < 2200;
}

struct Refracted {
  Grown grown;
  Rotation<Camera, Enu> camera_from_enu;
  Rotation<Camera, Icrs> camera_from_icrs;
};

/// The same match against observed places; nothing when they fit worse, as they do with a wrong clock or site.
std::optional<Refracted> against_observed(const Grown& grown, const Detections& detections, const Grower& grower,
                                          const IdentifyHints& hints) {
  const auto axis = grown.pose.lens.unproject(detections.centre());
  if (!hints.time || !hints.site || !usable_time(*hints.time) || grown.pairs.size() < 2 || !axis) return {};
  const ObservedSky sky(*hints.time, *hints.site);
  std::vector<Vec<Icrs>> matched;
  for (const StarPair& p : grown.pairs) matched.push_back(grown.field[p.field].direction);
  const Rotation<Enu, Icrs> enu_from_icrs = sky.nearest_rotation(matched);
  if (altitude_of(enu_from_icrs * (grown.pose.camera_from_icrs.inverse() * *axis)) < kLowestCentre) return {};
  Grown next = grown;
  const auto back = enu_from_icrs.inverse();
  for (FieldStar& s : next.field) s.direction = (back * sky.observed(s.direction)).unit();
  grower.fit(next);
  grower.associate(next);
  grower.settle(next);
  if (next.pairs.size() + 2 < grown.pairs.size() || rms_px(next, detections) > 1.05 * rms_px(grown, detections))
    return {};
  Refracted result{std::move(next), {}, {}};
  result.camera_from_enu = result.grown.pose.camera_from_icrs * back;
  const auto fitted_axis = result.grown.pose.lens.unproject(detections.centre());
  if (!fitted_axis) return {};
  const Vec<Enu> centre = result.camera_from_enu.inverse() * *fitted_axis;
  result.camera_from_icrs = result.camera_from_enu * sky.exact_at(centre, enu_from_icrs);
  return result;
}

std::vector<StarMatch> planets(const Grown& grown, const Detections& detections, const IdentifyHints& hints) {
  std::vector<StarMatch> found;
  if (!hints.time || !hints.site || !usable_time(*hints.time)) return found;
  std::vector<char> taken(detections.size(), 0);
  for (const StarPair& p : grown.pairs) taken[p.detection] = 1;
  for (const Body& body : bodies_at(*hints.time, *hints.site)) {
    if (body.kind == BodyKind::sun || body.kind == BodyKind::moon) continue;
    const auto p = grown.pose.project(body.direction);
    if (!p || !detections.on_frame(*p)) continue;
    const double reach = 2.0 + kPlanetReach.rad() * grown.pose.lens.focal_px;
    for (std::uint32_t i = 0; i < detections.size(); ++i) {  // the brightest one within reach
      const PixelPoint seen = detections[i].place;
      if (taken[i] != 0 || std::hypot(seen.x - p->x, seen.y - p->y) > reach) continue;
      taken[i] = 1;
      found.push_back(
          {detections[i].star, kNotInCatalogue, body.direction, body.magnitude, seen.x - p->x, seen.y - p->y});
      break;
    }
  }
  return found;
}

}  // namespace

Identification finish(Grown grown, double log10_chance, const Detections& detections, const Grower& grower,
                      const IdentifyHints& hints) {
  grown = with_best_projection(std::move(grown), detections, grower);
  const std::vector<FieldStar> catalogue_places = grown.field;
  Identification result;
  result.camera_from_icrs = grown.pose.camera_from_icrs;
  if (auto refracted = against_observed(grown, detections, grower, hints)) {
    grown = std::move(refracted->grown);
    result.camera_from_enu = refracted->camera_from_enu;
    result.camera_from_icrs = refracted->camera_from_icrs;
  }
  result.lens = grown.pose.lens;
  result.log10_chance = log10_chance;
  result.residual_rms_px = rms_px(grown, detections);
  for (const StarPair& p : grown.pairs) {
    const auto model = grown.pose.project(grown.field[p.field].direction);
    if (!model) continue;
    const Detection& seen = detections[p.detection];
    const FieldStar& star = catalogue_places[p.field];
    result.matches.push_back({seen.star, star.catalogue, star.direction, star.v_magnitude, seen.place.x - model->x,
                              seen.place.y - model->y});
  }
  const auto moving = planets(grown, detections, hints);
  result.matches.insert(result.matches.end(), moving.begin(), moving.end());
  return result;
}

}  // namespace polewright
