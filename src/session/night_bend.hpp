// How far an axis can be trusted when the camera left the course that a rigid mount would have held.
#pragma once

#include <optional>

#include "polewright/mount.hpp"

namespace polewright::session {

/// Slow departures from a rigid mount: a head that gives way, a tripod that sinks, a lens that shifts.
struct AxisBend {
  double departure_px = 0.0;  ///< rms of the frames from the fitted course, per axis, in the middle of the frame
  double evidence = 0.0;      ///< how many times likelier the departures are with something slow in them than without
  Angle sigma_before;         ///< total error of the axis as the fit stated it
};

/// Adds to the stated errors of a solved mount what slow departures may hide: a part of them that grows evenly turns
/// the fitted axis and leaves nothing behind, so its size is taken from the parts that do show. The departures'
/// covariance (a random walk, or a smooth course of unknown duration; of unknown size, beside scatter from frame to
/// frame) is averaged over its likelihood, the fitted axis and start being free. Nothing changes, and nothing is
/// returned, when the frames are few (under five), of several pointings, or show nothing slow.
std::optional<AxisBend> allow_for_bend(const MountProblem& problem, MountSolution& mount);

}  // namespace polewright::session
