// One exposure seen as geometry: which way everything points from shutter opening to closing.
#pragma once

#include <optional>
#include <vector>

#include "polewright/geometry.hpp"
#include "simulate/mount_motion.hpp"
#include "simulate/projection.hpp"
#include "simulate/scene.hpp"
#include "simulate/sky_places.hpp"

namespace polewright::simulate {

/// A light's refracted direction through the exposure: a parabola through three exact places. The sky's turn in half
/// an exposure is at most 0.033 rad (validate() caps exposures at 900 s), so the cubic left over stays below 0.5″.
struct Arc {
  Vec<Enu> begin, middle, end;
  /// s from −1 (shutter opens) to 1 (closes). Not normalised: the length is off by less than 1e-8.
  [[nodiscard]] Vec<Enu> at(double s) const {
    return middle + (end - begin) * (0.5 * s) + (end + begin - middle * 2.0) * (0.5 * s * s);
  }
};

class Exposure {
 public:
  Exposure(const Scene& scene, int frame);

  /// Attitude at s from −1 to 1.
  [[nodiscard]] Rotation<Camera, Enu> attitude(double s) const { return motion_.at(mid_s_ + s * half_s_); }
  [[nodiscard]] Arc star(Vec<Icrs> direction) const;
  /// The same when the place in the middle is known already.
  [[nodiscard]] Arc arc(SkyPlaces::Intermediate star, Vec<Enu> middle) const;
  [[nodiscard]] static Arc ground(Vec<Enu> direction) { return {direction, direction, direction}; }
  [[nodiscard]] const SkyPlaces& sky() const { return sky_; }
  [[nodiscard]] const Scene& scene() const { return *scene_; }
  [[nodiscard]] bool lively() const { return motion_.lively(); }
  [[nodiscard]] UtcTime mid_time() const { return scene_->first_start.plus_seconds(mid_s_); }
  /// What the principal point looks at in the middle.
  [[nodiscard]] Vec<Icrs> centre() const;
  /// Cone about centre() that holds every star seen during the exposure, with some to spare.
  [[nodiscard]] Angle search_radius() const;

 private:
  const Scene* scene_;
  double half_s_, mid_s_;
  CameraMotion motion_;
  SkyPlaces sky_;
};

/// Evenly spaced moments of an exposure, in the middle of equal parts.
struct Step {
  double s = 0.0;
  Rotation<Camera, Enu> attitude;
};
[[nodiscard]] std::vector<Step> steps_of(const Exposure& exposure, int count);

}  // namespace polewright::simulate
