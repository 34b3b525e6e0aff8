// How far an axis can be trusted when the camera left the course that a rigid mount would have held.
#pragma once

#include <optional>

#include "polewright/mount.hpp"

namespace polewright::session {

/// Slow departures from a rigid mount: a head that gives way, a tripod that sinks, a lens that shifts.
struct AxisBend {
  double departure_px = 0.0;  ///< rms of the frames from the fitted course, per axis, in the middle of the frame
  double odds = 0.0;          ///< of something slow being in the departures, against scatter from frame to frame alone
  Angle sigma_before;         ///< total error of the axis as the fit stated it
};

struct NightMount {
  MountSolution mount;  ///< its errors allow for the bend
  std::optional<AxisBend> bend;
};

/// Fits the mount to a night's frames and adds to its stated errors what slow departures may hide: the part of them
/// that grows evenly turns the fitted axis and leaves nothing behind, so its size is taken from the parts that do show.
/// The departures' covariance (a random walk, or a smooth course that forgets itself after a quarter to all of the
/// series; of unknown size, beside scatter from frame to frame) is averaged over its likelihood, axis and starts being
/// free, and over the chance that there is nothing slow. Nothing is added when that is the likelier or the frames are
/// few (under five of one pointing). A departure that is even all night is not seen: to any such fit it is an axis
/// error. A course that bends is not taken for an adjustment of the axis unless the field leapt about as far.
[[nodiscard]] NightMount solve_night(const MountProblem& problem, const MountOptions& options = {});

/// Adds to a solved mount's stated errors what a drift of unknown direction makes of the axis, 1σ in each direction.
void allow_for_drift(MountSolution& mount, Angle sigma);

}  // namespace polewright::session
