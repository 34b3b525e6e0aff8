// What the answer rests on, in figures and in words.
#pragma once

#include <string>

#include "mount/series.hpp"
#include "polewright/mount.hpp"

namespace polewright::mount_detail {

/// What the adjustments seen in the series did to the axis.
void describe_adjustments(MountSolution& solution, const Series& series, const AxisFit& fit, double hemisphere);
/// How far the axis moves without each frame, where the rest still has frames to spare.
void leave_one_out(MountSolution& solution, const Series& series, const SeriesContext& context, const AxisSetup& setup);
void add_cautions(MountSolution& solution, const MountProblem& problem);
/// "Wait 4 more minutes …" from the covariance that one more frame would give.
[[nodiscard]] std::string what_to_shoot(const MountProblem& problem, const MountSolution& solution, Angle wanted);

}  // namespace polewright::mount_detail
