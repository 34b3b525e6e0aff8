#include "simulate/mount_motion.hpp"

#include <cmath>
#include <numbers>

namespace polewright::simulate {
namespace {

Rotation<Camera, Enu> looking(Vec<Enu> forward, Vec<Enu> up) {
  const Vec<Enu> z = forward.unit();
  const Vec<Enu> y = -(up - z * up.dot(z)).unit();
  const Vec<Enu> x = y.cross(z);
  return {{x.x, x.y, x.z, y.x, y.y, y.z, z.x, z.y, z.z}};
}

Rotation<Camera, Enu> aim(const Horizontal& h, const SkyPlaces&) {
  const Vec<Enu> up{-sin(h.altitude) * sin(h.azimuth), -sin(h.altitude) * cos(h.azimuth), cos(h.altitude)};
  const auto level = looking(enu_from_horizontal(h.azimuth, h.altitude), up);
  return rotation_about(Vec<Camera>{0, 0, 1}, -h.roll) * level;
}

Rotation<Camera, Enu> aim(const Equatorial& e, const SkyPlaces& sky) {
  const Vec<Icrs> centre = icrs_from_equatorial(e.right_ascension, e.declination);
  const Vec<Icrs> east{-sin(e.right_ascension), cos(e.right_ascension), 0.0};
  const Vec<Icrs> north = centre.cross(east);
  const Vec<Icrs> top = north * cos(e.position_angle) + east * sin(e.position_angle);
  const Vec<Enu> seen = sky.observed(centre);
  return looking(seen, sky.observed((centre + top * 1e-4).unit()) - seen);
}

Rotation<Camera, Enu> aim(const Rotation<Camera, Enu>& attitude, const SkyPlaces&) {
  return attitude;
}

/// Rotation vector that moves star images as the nudge says: w × z = (w_y, −w_x).
Vec<Camera> rotation_vector(const Nudge& n, bool mirrored, double share) {
  const double dx = n.amount.rad() * cos(n.direction) * (mirrored ? -1.0 : 1.0);
  const double dy = n.amount.rad() * sin(n.direction);
  return Vec<Camera>{-dy, dx, mirrored ? -n.roll.rad() : n.roll.rad()} * share;
}

}  // namespace

double hemisphere(const Scene& scene) {
  return scene.site.latitude >= Angle() ? 1.0 : -1.0;
}

Vec<Enu> axis_of(const Scene& scene) {
  const Vec<Enu> pole = visible_pole(scene.site, scene.weather, scene.mount.about == AboutPole::refracted);
  const Angle altitude = altitude_of(pole) + scene.mount.altitude_error;
  const Angle e = scene.mount.azimuth_error;
  return enu_from_horizontal(hemisphere(scene) > 0.0 ? e : Angle::deg(180.0) - e, altitude);
}

Rotation<Camera, Enu> attitude_of(const Pointing& pointing, const SkyPlaces& sky) {
  return std::visit([&](const auto& p) { return aim(p, sky); }, pointing);
}

CameraMotion::CameraMotion(const Scene& scene, int frame) : scene_(&scene), frame_(frame), axis_(axis_of(scene)) {
  const Pointing* pointing = &scene.pointing;
  int aimed_before = 0;
  for (const ReAim& r : scene.re_aims) {
    if (r.before_frame <= frame && r.before_frame >= aimed_before) {
      pointing = &r.pointing;
      aimed_before = r.before_frame;
    }
  }
  const double aim_s = scene.start_s(aimed_before);
  aimed_ = attitude_of(*pointing, SkyPlaces(scene.first_start.plus_seconds(aim_s), scene.site, scene.weather));
  turn_at_aim_ = turn_rad(aim_s, aimed_before);
}

double CameraMotion::turn_rad(double t_s, int frame) const {
  double along = scene_->mount.rate_ratio * kSidereal_rad_per_s * t_s;
  for (const PeriodicError& p : scene_->mount.periodic) {
    const double phase = p.phase.rad(), turn = 2.0 * std::numbers::pi * t_s / p.period_s;
    along += p.amplitude.rad() * (std::sin(turn + phase) - std::sin(phase));
  }
  for (const Swing& s : scene_->swings)
    if (s.before_frame <= frame) along += s.turn.rad();
  return -hemisphere(*scene_) * along;
}

Vec<Camera> CameraMotion::nudge_at(double t_s) const {
  const bool mirrored = scene_->lens.mirrored;
  Vec<Camera> w;
  if (scene_->sag) w = w + rotation_vector(scene_->sag->per_minute, mirrored, t_s / 60.0);
  for (const Slip& s : scene_->slips)
    if (t_s >= s.at_s) w = w + rotation_vector(s.nudge, mirrored, 1.0);
  for (const Gust& g : scene_->gusts) {
    const double since = t_s - g.at_s;
    if (since < 0.0) continue;
    const double swing = std::exp(-since / g.decay_s) * std::sin(2.0 * std::numbers::pi * g.frequency_hz * since);
    w = w + rotation_vector(g.nudge, mirrored, swing);
  }
  for (const Settling& s : scene_->settlings) {
    const double since = t_s - s.at_s;
    w = w + rotation_vector(s.nudge, mirrored, since < 0.0 ? 1.0 : std::exp(-since / s.decay_s));
  }
  return w;
}

Rotation<Camera, Enu> CameraMotion::at(double t_s) const {
  const auto tracked = aimed_ * rotation_about(axis_, Angle::rad(turn_rad(t_s, frame_) - turn_at_aim_)).inverse();
  const Vec<Camera> w = nudge_at(t_s);
  const double size = w.norm();
  return size > 0.0 ? rotation_about(w * (1.0 / size), Angle::rad(size)) * tracked : tracked;
}

bool CameraMotion::lively() const {
  const double begin = scene_->start_s(frame_), end = begin + scene_->exposure_s;
  for (const Slip& s : scene_->slips)
    if (s.at_s > begin && s.at_s < end) return true;
  for (const Gust& g : scene_->gusts)
    if (g.at_s < end && begin - g.at_s < 20.0 * g.decay_s) return true;
  for (const Settling& s : scene_->settlings)
    if (s.decay_s < 2.0 * scene_->exposure_s && begin - s.at_s < 20.0 * s.decay_s) return true;
  for (const PeriodicError& p : scene_->mount.periodic)
    if (p.period_s < 4.0 * scene_->exposure_s) return true;
  return scene_->exposure_s > 240.0;
}

}  // namespace polewright::simulate
