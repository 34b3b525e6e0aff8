// Cramér–Rao bound of the axis from star places: an own computation, by numeric derivatives of a pinhole on a turning
// axis; unknown are the axis, the start attitude of every pointing and the turn of every frame. The lens is known.
#pragma once

#include <optional>
#include <vector>

#include "truth/mount/sessions/session.hpp"

namespace polewright::test {

struct BoundFrame {
  Rotation<Camera, Enu> camera_from_enu;
  int pointing = 0;
  std::vector<PixelPoint> stars{};
  std::vector<double> sigma_px{};  ///< per star; empty: the common one counts
};

struct AxisBound {
  Angle altitude_sigma, azimuth_on_sky_sigma, total_sigma;
  std::vector<double> turn_sigma_rad;  ///< per frame
};

struct BoundLens {
  double focal_px, cx, cy;
};

/// `known_turns`: the tracker's turns are exact, as a perfect drive would give them.
[[nodiscard]] AxisBound axis_bound(const std::vector<BoundFrame>& frames, Vec<Enu> axis, const Site& site,
                                   BoundLens lens, double star_sigma_px, bool known_turns = false);
[[nodiscard]] AxisBound axis_bound(const Session& session, const SessionSpec& spec, double star_sigma_px);

}  // namespace polewright::test
