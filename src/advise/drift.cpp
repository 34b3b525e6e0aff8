#include <algorithm>
#include <cmath>

#include "advise/field_motion.hpp"
#include "polewright/advise.hpp"

namespace polewright {
namespace {

using advise_detail::TurningCamera;

constexpr double kStep_s = 30.0;  // either side of mid-frame: drifts are steady over a minute to parts in 10⁵
const double kOffset_rad = Angle::deg(0.1).rad();

/// Where a star seen in `direction` at mid-frame is seen `seconds` later.
Vec<Camera> seen_later(const TurningCamera& c, const SkyAt& middle, const SkyAt& then, Vec<Camera> direction,
                       double seconds) {
  return c.attitude(seconds) * then.observed(middle.icrs(c.camera_from_enu.inverse() * direction));
}

}  // namespace

FieldDrift field_drift(const MountSolution& mount, const MountProblem& problem) {
  FieldDrift drift;
  const auto camera = advise_detail::camera_as_found(mount, problem);
  if (!camera) return drift;
  const PixelPoint middle_px{0.5 * (camera->width_px - 1), 0.5 * (camera->height_px - 1)};
  const auto centre = camera->lens.unproject(middle_px);
  if (!centre) return drift;
  const SkyAt middle(camera->start, camera->site, camera->weather);
  const SkyAt early(camera->start.plus_seconds(-kStep_s), camera->site, camera->weather);
  const SkyAt late(camera->start.plus_seconds(kStep_s), camera->site, camera->weather);
  const double per_min = 60.0 / (2.0 * kStep_s);
  const auto moved = [&](Vec<Camera> d) {
    return (seen_later(*camera, middle, late, d, kStep_s) - seen_later(*camera, middle, early, d, -kStep_s)) * per_min;
  };

  // North and east on the sky at the frame's centre, in camera axes. East is north × (towards the eye) …
  const double hemisphere = hemisphere_sign(camera->site);
  const Vec<Enu> north_pole = visible_pole(camera->site, camera->weather, ReferencePole::refracted) * hemisphere;
  const Vec<Camera> pole = camera->camera_from_enu * north_pole;
  const Vec<Camera> east = pole.cross(*centre).unit();  // … so pole × star points east, as the sky turns
  const Vec<Camera> north = centre->cross(east);
  const Vec<Camera> velocity = moved(*centre);
  const double arcsec = Angle::rad(1.0).arcsec();
  drift.north_arcsec_per_min = velocity.dot(north) * arcsec;
  drift.east_arcsec_per_min = velocity.dot(east) * arcsec;
  // Twist: how fast a small cross at the centre turns from north towards east.
  const auto shifted = [&](Vec<Camera> towards) { return moved((*centre + towards * kOffset_rad).unit()) - velocity; };
  drift.twist_arcsec_per_min = 0.5 * (shifted(north).dot(east) - shifted(east).dot(north)) / kOffset_rad * arcsec;

  for (const PixelPoint p : advise_detail::frame_grid(camera->width_px, camera->height_px)) {
    const auto d = camera->lens.unproject(p);
    if (!d) continue;
    const auto a = camera->lens.project(seen_later(*camera, middle, early, *d, -kStep_s));
    const auto b = camera->lens.project(seen_later(*camera, middle, late, *d, kStep_s));
    if (!a || !b) continue;
    const double px = std::hypot(b->x - a->x, b->y - a->y) * per_min;
    drift.worst_px_per_min = std::max(drift.worst_px_per_min, px);
    if (std::hypot(p.x - middle_px.x, p.y - middle_px.y) < 1.0) drift.centre_px_per_min = px;
  }
  return drift;
}

}  // namespace polewright
