// Where the camera points at every moment: camera_from_enu(t) = nudges(t) · A0 · R(m, θ(t))ᵀ.
#pragma once

#include <vector>

#include "polewright/geometry.hpp"
#include "simulate/scene.hpp"
#include "simulate/sky_places.hpp"

namespace polewright::simulate {

inline constexpr double kSidereal_rad_per_s = 7.292115146706979e-5;

/// +1 in the north, −1 in the south.
[[nodiscard]] double hemisphere(const Scene& scene);
/// The mount's axis on the visible pole's side.
[[nodiscard]] Vec<Enu> axis_of(const Scene& scene);
/// Attitude that a pointing describes, the sky being that of `time`.
[[nodiscard]] Rotation<Camera, Enu> attitude_of(const Pointing& pointing, const SkyPlaces& sky);

/// The camera through the exposure of one frame.
class CameraMotion {
 public:
  CameraMotion(const Scene& scene, int frame);
  /// Attitude `t_s` seconds after the first exposure began.
  [[nodiscard]] Rotation<Camera, Enu> at(double t_s) const;
  /// True when something shakes faster than a quadratic follows within the exposure.
  [[nodiscard]] bool lively() const;

 private:
  /// θ with the swings made before `frame`.
  [[nodiscard]] double turn_rad(double t_s, int frame) const;
  [[nodiscard]] Vec<Camera> nudge_at(double t_s) const;

  const Scene* scene_;
  int frame_;
  Vec<Enu> axis_;
  Rotation<Camera, Enu> aimed_;  ///< undisturbed attitude at turn_at_aim_
  double turn_at_aim_ = 0.0;
};

}  // namespace polewright::simulate
