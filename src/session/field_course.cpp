#include "session/field_course.hpp"

#include <algorithm>
#include <cmath>

#include "advise/field_motion.hpp"
#include "polewright/sky.hpp"

namespace polewright::session {
namespace {

using advise_detail::TurningCamera;

constexpr int kColumns = 8, kRows = 5;
constexpr int kFittedSteps = 60;

/// Two stars that tell shift and roll: one in the middle of the first frame, one half-way to its right edge.
struct Guides {
  Vec<Icrs> middle, side;
};

/// Shift and roll of the guides as this attitude shows them; absolute, before the first frame's are taken off.
std::optional<FieldShift> seen(const Guides& guides, const TurningCamera& camera, const Rotation<Camera, Enu>& attitude,
                               UtcTime time) {
  const SkyAt sky(time, camera.site, camera.weather);
  const auto a = camera.lens.project(attitude * sky.observed(guides.middle));
  const auto b = camera.lens.project(attitude * sky.observed(guides.side));
  if (!a || !b) return {};
  FieldShift out;
  out.x_px = a->x;
  out.y_px = a->y;
  out.roll_arcmin = Angle::rad(std::atan2(b->y - a->y, b->x - a->x)).arcmin();
  return out;
}

FieldShift relative(FieldShift s, const FieldShift& first, double time_s) {
  s.time_s = time_s;
  s.x_px -= first.x_px;
  s.y_px -= first.y_px;
  s.roll_arcmin = Angle::arcmin(s.roll_arcmin - first.roll_arcmin).wrapped_signed().arcmin();
  return s;
}

std::optional<Guides> guides_of(const TurningCamera& camera, const Rotation<Camera, Enu>& attitude, UtcTime time) {
  const PixelPoint middle{0.5 * (camera.width_px - 1), 0.5 * (camera.height_px - 1)};
  const auto a = camera.lens.unproject(middle);
  const auto b = camera.lens.unproject({middle.x + 0.25 * camera.width_px, middle.y});
  if (!a || !b) return {};
  const SkyAt sky(time, camera.site, camera.weather);
  return Guides{sky.icrs(attitude.inverse() * *a), sky.icrs(attitude.inverse() * *b)};
}

/// What the centroids of this many stars leave of place and roll (physics page, "What is observable").
void add_sigmas(const MountFrameFit& fit, const TurningCamera& camera, FieldShift& s) {
  if (fit.stars_used < 2) return;
  const double n = fit.stars_used, rms = fit.residual_rms_px;
  s.sigma_px = rms / std::sqrt(n);
  const double size2 = 1.0 * camera.width_px * camera.width_px + 1.0 * camera.height_px * camera.height_px;
  s.roll_sigma_arcmin = Angle::rad(rms * std::sqrt(12.0 / (n * size2))).arcmin();
}

std::vector<MotionArrow> motion_now(const TurningCamera& camera) {
  const double half_minute_s = 30.0;
  const SkyAt middle(camera.start, camera.site, camera.weather);
  const SkyAt before(camera.start.plus_seconds(-half_minute_s), camera.site, camera.weather);
  const SkyAt after(camera.start.plus_seconds(half_minute_s), camera.site, camera.weather);
  std::vector<MotionArrow> arrows;
  for (const PixelPoint p : arrow_places(camera.width_px, camera.height_px)) {
    const auto d = camera.lens.unproject(p);
    if (!d) continue;
    const Vec<Icrs> star = middle.icrs(camera.camera_from_enu.inverse() * *d);
    const auto from = camera.lens.project(camera.attitude(-half_minute_s) * before.observed(star));
    const auto to = camera.lens.project(camera.attitude(half_minute_s) * after.observed(star));
    if (from && to) arrows.push_back({p, {to->x - from->x, to->y - from->y}});
  }
  return arrows;
}

Angle finest_scale(const TurningCamera& camera) {
  Angle finest;
  for (const PixelPoint p : advise_detail::frame_grid(camera.width_px, camera.height_px)) {
    // Radial and tangential are the lens's own directions of largest and smallest scale.
    const double dx = p.x - camera.lens.principal_point.x, dy = p.y - camera.lens.principal_point.y;
    const double r = std::max(1e-9, std::hypot(dx, dy));
    const auto here = camera.lens.unproject(p);
    for (const PixelPoint step : {PixelPoint{dx / r, dy / r}, PixelPoint{-dy / r, dx / r}})
      if (const auto there = camera.lens.unproject({p.x + step.x, p.y + step.y}); here && there) {
        const Angle scale = angle_between(*here, *there);
        if (finest.rad() == 0.0 || scale < finest) finest = scale;
      }
  }
  return finest;
}

void fill_shifts(const MountProblem& problem, const MountSolution& mount, const TurningCamera& camera,
                 FieldCourse& out) {
  std::optional<Guides> guides;
  FieldShift first;
  UtcTime start;
  int group = 0;
  for (std::size_t i = 0; i < problem.frames.size(); ++i) {
    const MountFrameFit& fit = mount.frames[i];
    const UtcTime time = problem.frames[i].mid_time;
    if (fit.set_aside || (guides && fit.group != group)) continue;
    if (!guides && !(guides = guides_of(camera, fit.camera_from_enu, time))) return;
    auto s = seen(*guides, camera, fit.camera_from_enu, time);
    if (!s) continue;
    if (out.measured.empty()) {
      first = *s;
      start = time;
      group = fit.group;
    }
    add_sigmas(fit, camera, *s);
    out.measured.push_back(relative(*s, first, time.seconds_since(start)));
  }
  if (!guides) return;
  const double span_s = camera.start.seconds_since(start);
  for (int k = 0; k <= kFittedSteps; ++k) {
    const double t = span_s * k / kFittedSteps;
    if (const auto s = seen(*guides, camera, camera.attitude(t - span_s), start.plus_seconds(t)))
      out.fitted.push_back(relative(*s, first, t));
  }
}

}  // namespace

std::vector<PixelPoint> arrow_places(int width_px, int height_px) {
  std::vector<PixelPoint> places;
  for (int r = 0; r < kRows; ++r)
    for (int c = 0; c < kColumns; ++c)
      places.push_back({(c + 0.5) * width_px / kColumns - 0.5, (r + 0.5) * height_px / kRows - 0.5});
  return places;
}

std::optional<FieldCourse> course_of(const MountProblem& problem, const MountSolution& mount) {
  const auto camera = advise_detail::camera_as_found(mount, problem);
  const auto last = advise_detail::last_frame(mount);
  if (!camera || !last || !mount.rate_ratio) return {};
  FieldCourse out;
  out.last_frame = problem.frames[*last].name;
  out.motion = motion_now(*camera);
  out.finest_scale = finest_scale(*camera);
  fill_shifts(problem, mount, *camera, out);
  return out;
}

}  // namespace polewright::session
