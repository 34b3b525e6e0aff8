#include <algorithm>
#include <cmath>
#include <functional>

#include "advise/field_motion.hpp"
#include "polewright/advise.hpp"

namespace polewright {
namespace {

using advise_detail::TurningCamera;
using advise_detail::worst_trail_px;

// Worm periods of small trackers lie between 240 and 640 s; 480 s is the commonest (common practice, no source).
constexpr double kUsualPeriod_s = 480.0;

/// Longest exposure whose trail stays within tolerance; a trail grows with its exposure.
double longest_within(double tolerance_px, const std::function<double(double)>& trail_px) {
  if (trail_px(kLongestExposure_s) <= tolerance_px) return kLongestExposure_s;
  double low = 0.0, high = kLongestExposure_s;
  while (high - low > 1e-4 * high && high > 1e-3) {
    const double middle = 0.5 * (low + high);
    (trail_px(middle) > tolerance_px ? high : low) = middle;
  }
  return low;
}

/// Worst over the phase of a sine of this rms about the steady turn, at the place furthest from the axis.
double periodic_trail_px(const TurningCamera& camera, Angle turn_rms, double exposure_s) {
  const double peak_to_peak = 2.0 * std::numbers::sqrt2 * turn_rms.rad();
  const double phase = std::min(0.5, exposure_s / kUsualPeriod_s);
  const double turn = peak_to_peak * std::sin(std::numbers::pi * phase);
  double worst = 0.0;
  for (const PixelPoint p : advise_detail::frame_grid(camera.width_px, camera.height_px)) {
    const auto d = camera.lens.unproject(p);
    if (!d) continue;
    const auto turned = camera.lens.project(camera.camera_from_enu * (rotation_about(camera.axis, Angle::rad(turn)) *
                                                                      (camera.camera_from_enu.inverse() * *d)));
    if (turned) worst = std::max(worst, std::hypot(turned->x - p.x, turned->y - p.y));
  }
  return worst;
}

}  // namespace

ExposureAdvice exposure_advice(const MountSolution& mount, const MountProblem& problem, std::optional<double> planned_s,
                               double tolerance_px) {
  ExposureAdvice advice;
  advice.tolerance_px = tolerance_px;
  advice.planned_s = planned_s;
  const auto found = advise_detail::camera_as_found(mount, problem);
  if (!found) return advice;
  TurningCamera corrected = *found;
  corrected.axis = visible_pole(problem.site, problem.weather, problem.reference_pole);
  if (mount.outcome == MountOutcome::solved) {
    const BaseMove move = base_move(mount);
    corrected.camera_from_enu = found->camera_from_enu * (move.azimuth * move.altitude).inverse();
  }
  const auto uneven = [&](const TurningCamera& c, double s) {
    return mount.turn_scatter ? periodic_trail_px(c, *mount.turn_scatter, s) : 0.0;
  };
  const auto now = [&](double s) { return worst_trail_px(*found, s) + uneven(*found, s); };
  const auto after = [&](double s) { return worst_trail_px(corrected, s) + uneven(corrected, s); };
  advice.longest_s = longest_within(tolerance_px, now);
  advice.longest_after_s = longest_within(tolerance_px, after);
  advice.longest_ground_s = longest_within(tolerance_px, [&](double s) { return worst_trail_px(*found, s, true); });
  if (!planned_s) return advice;
  advice.planned_trail_px = now(*planned_s);
  advice.planned_trail_after_px = after(*planned_s);
  advice.good_enough = *advice.planned_trail_px <= tolerance_px;
  TurningCamera steady = *found, aligned = corrected;
  steady.rate_ratio = 1.0;
  advice.axis_trail_px = worst_trail_px(steady, *planned_s);
  advice.rate_trail_px = worst_trail_px(aligned, *planned_s);
  if (mount.turn_scatter) advice.periodic_trail_px = uneven(*found, *planned_s);
  return advice;
}

}  // namespace polewright
