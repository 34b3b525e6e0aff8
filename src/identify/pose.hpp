// Pose: where the camera points and through which lens, and a first one from the four stars of a fan.
#pragma once

#include <array>
#include <optional>

#include "polewright/lens.hpp"

namespace polewright {

struct Pose {
  Rotation<Camera, Icrs> camera_from_icrs;
  LensModel lens;

  [[nodiscard]] std::optional<PixelPoint> project(Vec<Icrs> d) const { return lens.project(camera_from_icrs * d); }
};

/// Four stars on the frame and on the sky: anchor first, then the neighbours by distance.
struct FanMatch {
  std::array<PixelPoint, 4> place;
  std::array<Vec<Icrs>, 4> direction;
};

/// Pose that puts the anchor where it is and the farthest neighbour at its distance and angle; `lens` gives everything
/// but the focal length, which the distance decides. Nothing when no focal length of the projection fits.
[[nodiscard]] std::optional<Pose> pose_from_fan(const FanMatch& fan, LensModel lens);

/// Attitude that takes two sky directions to two camera directions: the first exactly, the second as nearly as it can.
[[nodiscard]] Rotation<Camera, Icrs> attitude_from_two(Vec<Icrs> sky1, Vec<Icrs> sky2, Vec<Camera> camera1,
                                                       Vec<Camera> camera2);

}  // namespace polewright
