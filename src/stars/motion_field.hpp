// The motion of the picture during an exposure, as a rotation of the camera shows it over the frame.
#pragma once

#include <optional>
#include <vector>

#include "polewright/geometry.hpp"

namespace polewright {

/// Trail from end to end at (u, v) px from the frame's centre for a pinhole lens of 1/f² = bend:
///   tx = x·(1 + bend·u²) + twist·v + y·bend·u·v,   ty = y·(1 + bend·v²) − twist·u + x·bend·u·v,
/// where (x, y) = f·(−ωy, ωx) and twist = ωz for the camera's small rotation ω.
struct MotionField {
  PixelPoint centre;
  double x_px = 0.0, y_px = 0.0, twist = 0.0;  ///< trail at the centre; rotation about the optical axis, rad
  double bend = 0.0;                           ///< 1/focal_px², 0 when unknown

  void at(PixelPoint p, double& tx, double& ty) const;
};

/// One star's trail, sign unknown.
struct TrailSample {
  PixelPoint position;
  double tx = 0.0, ty = 0.0;
};

/// The field that most trails agree with within `tolerance_px`, sign chosen so that x ≥ 0 at the centre. Nothing when
/// fewer than half agree. Deterministic.
std::optional<MotionField> fit_motion_field(const std::vector<TrailSample>& trails, PixelPoint centre, double bend,
                                            double tolerance_px);

}  // namespace polewright
