// How the star field moved over the frames, measured and as axis and rate have it, told as shift and roll.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "polewright/evidence.hpp"
#include "polewright/mount.hpp"

namespace polewright::session {

struct FieldCourse {
  std::string last_frame;            ///< name of the frame the motion refers to
  std::vector<FieldShift> measured;  ///< per frame that took part
  std::vector<FieldShift> fitted;    ///< from the last frame backwards, at even steps
  std::vector<MotionArrow> motion;   ///< over the last frame
  Angle finest_scale;                ///< smallest angle a pixel spans anywhere on the frame
};

/// Nothing when the fit holds no frame.
[[nodiscard]] std::optional<FieldCourse> course_of(const MountProblem& problem, const MountSolution& mount);

/// Evenly spread places inside the frame for arrows, at the middles of equal cells.
[[nodiscard]] std::vector<PixelPoint> arrow_places(int width_px, int height_px);

}  // namespace polewright::session
