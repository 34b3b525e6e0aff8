// Motion and aberration told apart by a joint fit over all stars of a frame.
#pragma once

#include <optional>

#include "polewright/stars.hpp"
#include "stars/motion_field.hpp"

namespace polewright {

/// Fits the squared trails of the list's stars, which add where trails do not: q = motion² + aberration. `start` is the
/// motion found at detection, if any. A lens centred over the frame has no elongation on its axis, so a common one is
/// motion; what grows from the centre along or across the radius is the lens.
TrailField fit_trail_field(const StarList& list, const std::optional<double>& focal_px,
                           const std::optional<MotionField>& start);

}  // namespace polewright
