#include "identify/finish.hpp"

#include <algorithm>
#include <cmath>

#include "identify/observed_field.hpp"
#include "polewright/sky.hpp"

namespace polewright {
namespace {

/// Half field beyond which the stars can tell projections apart.
constexpr double kWideHalfField_rad = 0.35;
/// Scatter, in the stars' own sigmas, at which a rectilinear lens needs no rival: nothing is left to explain.
constexpr double kGoodFit = 1.25;
/// Below this altitude of the field's centre, time or place must be wrong.
constexpr Angle kLowestCentre = Angle::deg(-2.0);
/// Accuracy of the planets' places with a margin.
constexpr Angle kPlanetReach = Angle::arcmin(2.0);

double rms_px(const Grown& grown, const Detections& detections) {
  double sum = 0.0;
  for (const StarPair& p : grown.pairs)
    if (const auto model = grown.pose.project(grown.field[p.field].direction)) {
      const PixelPoint seen = detections[p.detection].place;
      sum += 0.5 * (std::pow(seen.x - model->x, 2) + std::pow(seen.y - model->y, 2));
    }
  return grown.pairs.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(grown.pairs.size()));
}

/// More stars, or as many and a closer fit.
bool clearly_better(const Grown& a, const Grown& b, const Detections& detections) {
  const auto na = static_cast<double>(a.pairs.size()), nb = static_cast<double>(b.pairs.size());
  if (na > 1.02 * nb + 1.0) return true;
  return na >= 0.98 * nb - 1.0 && rms_px(a, detections) < 0.97 * rms_px(b, detections);
}

Grown with_best_projection(Grown grown, const Detections& detections, const Grower& grower) {
  if (detections.half_diagonal_px() / grown.pose.lens.focal_px < kWideHalfField_rad ||
      (grown.pose.lens.projection == Projection::rectilinear && grower.typical_sigmas(grown) < kGoodFit))
    return grown;
  Grown best = grown;
  for (const Projection projection :
       {Projection::rectilinear, Projection::equidistant, Projection::equisolid, Projection::stereographic}) {
    if (projection == grown.pose.lens.projection) continue;
    Grown other = grown;
    other.pose.lens.projection = projection;
    other.freedom.k1 = other.freedom.k2 = true;
    grower.fit(other);
    grower.complete(other);
    if (clearly_better(other, best, detections)) best = std::move(other);
  }
  return best;
}

bool usable_time(UtcTime time) {
  const int year = time.calendar().year;
  return year >= 1900 && year < 2200;
}

struct Refracted {
  Grown grown;
  Rotation<Enu, Icrs> enu_from_icrs;
};

/// The same match against observed places; nothing when they fit worse, as they do with a wrong clock or site.
std::optional<Refracted> against_observed(const Grown& grown, const Detections& detections, const Grower& grower,
                                          const IdentifyHints& hints) {
  if (!hints.time || !hints.site || !usable_time(*hints.time) || grown.field.size() < 2) return {};
  const ObservedField observed = observe(grown.field, *hints.time, *hints.site);
  Grown next = grown;
  for (std::size_t i = 0; i < next.field.size(); ++i) next.field[i].direction = observed.direction[i];
  const auto axis = next.pose.lens.unproject(detections.centre());
  if (!axis || altitude_of(observed.enu_from_icrs * (next.pose.camera_from_icrs.inverse() * *axis)) < kLowestCentre)
    return {};
  grower.fit(next);
  grower.associate(next);
  grower.settle(next);
  if (next.pairs.size() + 2 < grown.pairs.size() || rms_px(next, detections) > 1.05 * rms_px(grown, detections))
    return {};
  return Refracted{std::move(next), observed.enu_from_icrs};
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
  if (auto refracted = against_observed(grown, detections, grower, hints)) {
    grown = std::move(refracted->grown);
    result.camera_from_enu = grown.pose.camera_from_icrs * refracted->enu_from_icrs.inverse();
  }
  result.camera_from_icrs = grown.pose.camera_from_icrs;
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
