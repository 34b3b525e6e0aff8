#include "identify/plans.hpp"

#include <cmath>

namespace polewright {
namespace {

constexpr double kFocalBelief = 1.2;  // a hint good to 15 %, and the difference between projections
constexpr double kSmallestHalfField_rad = 0.0075, kLargestHalfField_rad = 1.45;
constexpr double kWide = 0.3;  // half field, rad, beyond which fans off the axis need the lens to keep their shape
constexpr Angle kCentreBelief = Angle::deg(12.0);

LensModel shape(const Detections& d, Projection projection, double focal_px) {
  return centred_lens(projection, focal_px, d.width(), d.height());
}

/// Plans around a focal length: through the lens it means where that matters.
void add_focal(std::vector<SearchPlan>& plans, const Detections& d, SearchPlan plan, double focal_px, double belief) {
  plan.shortest_focal_px = focal_px / belief;
  plan.longest_focal_px = focal_px * belief;
  const double half_field = d.half_diagonal_px() / focal_px;
  if (half_field < kWide) {
    plans.push_back(plan);
    return;
  }
  plan.shape = shape(d, Projection::rectilinear, focal_px);
  plans.push_back(plan);
  plan.shape = shape(d, Projection::equidistant, focal_px);
  plans.push_back(plan);
}

}  // namespace

std::vector<SearchPlan> search_plans(const Detections& d, const IdentifyHints& hints) {
  std::vector<SearchPlan> plans;
  const double half = d.half_diagonal_px();
  SearchPlan aimed;
  aimed.centre = hints.centre;
  const double focal_px = hints.lens ? hints.lens->focal_px : hints.focal_px.value_or(0.0);
  const bool focal_known = std::isfinite(focal_px) && focal_px > 0.0;
  if (!aimed.centre && hints.attitude && focal_known) {
    if (const auto axis = shape(d, Projection::rectilinear, focal_px).unproject(d.centre()))
      aimed.centre = hints.attitude->inverse() * *axis;
  }
  if (aimed.centre && focal_known) {
    aimed.centre_radius = kCentreBelief + Angle::rad(half / focal_px);
    add_focal(plans, d, aimed, focal_px, kFocalBelief);
  }
  if (focal_known) add_focal(plans, d, SearchPlan{}, focal_px, kFocalBelief);

  SearchPlan blind;
  blind.shortest_focal_px = half / kLargestHalfField_rad / 1.5;
  blind.longest_focal_px = half / kSmallestHalfField_rad;
  plans.push_back(blind);
  // Wide lenses whose middle is covered: fans near the edge keep their shape only through about the right lens.
  for (const double half_field_deg : {34.0, 42.0, 50.0, 58.0, 65.0}) {
    SearchPlan wide;
    wide.densest_spacing_deg = 2.6;
    wide.shape = shape(d, Projection::rectilinear, half / std::tan(Angle::deg(half_field_deg).rad()));
    wide.shortest_focal_px = wide.shape->focal_px / 1.2;
    wide.longest_focal_px = wide.shape->focal_px * 1.2;
    plans.push_back(wide);
  }
  for (const double half_field_deg : {45.0, 60.0, 80.0}) {
    SearchPlan wide;
    wide.densest_spacing_deg = 2.6;
    wide.shape = shape(d, Projection::equidistant, half / Angle::deg(half_field_deg).rad());
    wide.shortest_focal_px = wide.shape->focal_px / 1.25;
    wide.longest_focal_px = wide.shape->focal_px * 1.25;
    plans.push_back(wide);
  }
  return plans;
}

}  // namespace polewright
