// What happened between the frames: tracked, axis swung by hand, re-aimed on the head, axis adjusted, frame spoiled.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "mount/attitude_fit.hpp"
#include "mount/axis_problem.hpp"

namespace polewright::mount_detail {

/// What separates a frame from the kept frame before it.
struct Link {
  bool swung = false;      ///< axis turned by hand
  bool new_group = false;  ///< camera moved on its head
  bool new_epoch = false;  ///< axis adjusted (always with new_group: the camera rides on the base)
};

struct Series {
  std::vector<std::size_t> kept;       ///< frames of the problem, in order
  std::vector<Link> links;             ///< per kept frame; the first one's means nothing
  std::vector<std::string> set_aside;  ///< per frame of the problem; empty when kept
};

/// What the series is judged with.
struct SeriesContext {
  const MountProblem& problem;
  const MountOptions& options;
  const AttitudeFit& attitudes;
  Eigen::Vector3d pole_in_enu;
  double sky_rate_rad_per_s;  ///< −σω
};

/// Sets aside frames whose stars cannot carry an attitude, and reads the links off the turns between neighbours.
[[nodiscard]] Series first_reading(const SeriesContext& context);
/// Changes the reading where frames contradict it: a spoiled frame, a slip of the head, an adjustment of the axis.
void revise(Series& series, const SeriesContext& context);
/// Frames alone in their group say nothing about the axis; they leave the series with a reason.
void drop_lonely_frames(Series& series);

/// The least-squares problem of a series. Empty start_axes when an epoch has no turn to start from.
[[nodiscard]] AxisSetup make_setup(const Series& series, const SeriesContext& context);
/// Turn over the ground from frame a to frame b of the problem, right-handed, rad, ENU.
[[nodiscard]] Eigen::Vector3d turn_over_ground(const AttitudeFit& attitudes, std::size_t a, std::size_t b);

}  // namespace polewright::mount_detail
