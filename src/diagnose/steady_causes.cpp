#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "polewright/diagnose.hpp"

namespace polewright {
namespace {

/// Fastest motion on a grid over the frame, px per minute, of stars turned by −Ω relative to the camera.
double worst_px_per_min(const Vec<Enu>& omega_rad_per_s, const Rotation<Camera, Enu>& camera_from_enu,
                        const LensModel& lens, int width_px, int height_px) {
  const double seconds = 1.0;
  const double rate = omega_rad_per_s.norm();
  if (rate == 0.0) return 0.0;
  const auto moved = rotation_about(omega_rad_per_s.unit(), Angle::rad(-rate * seconds));
  const auto enu_from_camera = camera_from_enu.inverse();
  double worst = 0.0;
  constexpr int kSteps = 8;
  for (int i = 0; i <= kSteps; ++i)
    for (int j = 0; j <= kSteps; ++j) {
      const PixelPoint from{(width_px - 1.0) * i / kSteps, (height_px - 1.0) * j / kSteps};
      const auto direction = lens.unproject(from);
      if (!direction) continue;
      const auto to = lens.project(camera_from_enu * (moved * (enu_from_camera * *direction)));
      if (to) worst = std::max(worst, std::hypot(to->x - from.x, to->y - from.y) * 60.0 / seconds);
    }
  return worst;
}

const char* rate_cause(RateMatch match) {
  if (match == RateMatch::stopped) return "not tracking";
  if (match == RateMatch::reversed) return "reversed tracking";
  return "tracking rate";
}

const char* setting_text(RateMatch match) {
  switch (match) {
    case RateMatch::solar:
      return "the solar rate";
    case RateMatch::lunar:
      return "the lunar rate";
    case RateMatch::half:
      return "the half-speed rate for sky and foreground";
    case RateMatch::stopped:
      return "a mount that does not track";
    case RateMatch::reversed:
      return "the hemisphere switch the wrong way";
    default:
      return "";
  }
}

std::string rate_evidence(const MountSolution& m, double px_per_min) {
  std::string text = fmt::format(
      "between these frames the mount turned at {:.4f} of the sidereal rate, which moves stars "
      "{:.2f} px a minute",
      *m.rate_ratio, px_per_min);
  if (m.rate_match == RateMatch::sidereal) return text + "; the periodic error of a small tracker looks like this";
  if (m.rate_match == RateMatch::other) return text;
  return text + fmt::format("; that is {}", setting_text(m.rate_match));
}

}  // namespace

std::vector<TrailCause> steady_causes(const MountSolution& m, const MountProblem& problem, double least_px_per_min) {
  std::vector<TrailCause> causes;
  if (!m.rate_ratio || m.frames.empty()) return causes;
  const MountFrame& frame = problem.frames.back();
  const auto worst = [&](const Vec<Enu>& omega) {
    return worst_px_per_min(omega, m.frames.back().camera_from_enu, m.lens, frame.width_px, frame.height_px);
  };
  const double turn = hemisphere_sign(problem.site) * kSiderealRate_rad_per_s;
  const bool solved = m.outcome == MountOutcome::solved;
  // Ω = σω(p − r m) = σω(p − m) + σω(1 − r) m; without an axis the whole of it is the missing rate about the pole.
  const Vec<Enu> about = solved ? m.axis : visible_pole(problem.site, problem.weather, problem.reference_pole);
  const double rate_px = worst(about * (turn * (1.0 - *m.rate_ratio)));
  const double axis_px = solved ? worst((m.pole - m.axis) * turn) : 0.0;
  const double all = rate_px + axis_px;
  if (rate_px >= least_px_per_min && std::abs(1.0 - *m.rate_ratio) > 2.0 * m.rate_sigma)
    causes.push_back({rate_cause(m.rate_match), rate_px / all, rate_px, rate_evidence(m, rate_px)});
  if (axis_px >= least_px_per_min && m.total_error > m.total_sigma * 2.0)
    causes.push_back({"axis misalignment", axis_px / all, axis_px,
                      fmt::format("the axis is {:.1f}′ ± {:.1f}′ from the pole, which moves stars {:.2f} px a minute",
                                  m.total_error.arcmin(), m.total_sigma.arcmin(), axis_px)});
  std::sort(causes.begin(), causes.end(), [](const auto& a, const auto& b) { return a.share > b.share; });
  return causes;
}

}  // namespace polewright
