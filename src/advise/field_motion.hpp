// How the stars of the last frame move over it, from apparent places and the turning axis.
#pragma once

#include <optional>
#include <vector>

#include "polewright/mount.hpp"

namespace polewright::advise_detail {

/// A camera that turns about an axis; its attitude is that at `start`.
struct TurningCamera {
  Site site;
  Weather weather;
  UtcTime start;
  Rotation<Camera, Enu> camera_from_enu;
  Vec<Enu> axis;
  double rate_ratio = 1.0;
  LensModel lens;
  int width_px = 0, height_px = 0;

  [[nodiscard]] Rotation<Camera, Enu> attitude(double seconds) const;
};

/// Last frame that was not set aside; nothing when there is none.
[[nodiscard]] std::optional<std::size_t> last_frame(const MountSolution& mount);
/// The camera of the last frame with the motion found; the axis is the pole when it could not be observed.
[[nodiscard]] std::optional<TurningCamera> camera_as_found(const MountSolution& mount, const MountProblem& problem);

/// Evenly spread places on the frame, corners included.
[[nodiscard]] std::vector<PixelPoint> frame_grid(int width_px, int height_px);

/// Longest path over the frame of a star (or, with `ground`, of a thing on the ground) during an exposure centred on
/// the camera's start, px. Apparent places, so that refraction's own motion is in it.
[[nodiscard]] double worst_trail_px(const TurningCamera& camera, double exposure_s, bool ground = false);

}  // namespace polewright::advise_detail
